//! Every story that agrees with the records of a lot, by plain enumeration: each egg is told apart,
//! each record takes any eggs that were there, records of one moment come in any order. The rules
//! are those at the head of `book::trace`; none of its shortcuts are used here.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use pointdown_core::book::Place;
use pointdown_core::book::trace::Step;

/// An egg: the steps that it went through, as bits, and the carton run that it is of.
type Egg = (u16, Option<usize>);

/// A step and an egg that it took.
type Taken = (usize, Egg);

#[derive(Clone, PartialEq, Eq, Hash, Default)]
struct State {
    /// Eggs by place; the order says nothing, so each list is kept sorted.
    pools: BTreeMap<Place, Vec<Egg>>,
    /// What has been at a station or left, for counts and returns that draw on it again.
    seen: BTreeSet<(Place, Egg)>,
    out: i64,
}

/// What is true in some story, and in every one.
#[derive(Default)]
pub(crate) struct Told {
    /// How many different ends there are.
    pub(crate) stories: usize,
    /// For each step, the steps that an egg of it went through before in some story.
    pub(crate) possible: Vec<u16>,
    /// For each step, those that some egg of it had not gone through in some story.
    pub(crate) lacking: Vec<u16>,
    /// For each place, the steps behind what stands there at the end.
    pub(crate) standing: BTreeMap<Place, u16>,
    /// Eggs left of each run (by its carton step): least and most.
    pub(crate) left: BTreeMap<usize, (usize, usize)>,
}

/// Tells every story of these steps; `run[i]` is the carton step whose run step `i` names.
pub(crate) fn tell(steps: &[Step], run: &[Option<usize>]) -> Told {
    let mut told = Told {
        possible: vec![0; steps.len()],
        lacking: vec![0; steps.len()],
        ..Told::default()
    };
    // Only stories that reach their end count, so each step's eggs are noted when it does.
    let mut orders = vec![Vec::new()];
    let mut moments: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for (n, step) in steps.iter().enumerate() {
        moments.entry(step.at.ms()).or_default().push(n);
    }
    for group in moments.values() {
        let mut longer = Vec::new();
        for order in &orders {
            for mixed in permutations(group) {
                longer.push([order.clone(), mixed].concat());
            }
        }
        orders = longer;
    }
    for order in orders {
        let mut walk = Walk {
            steps,
            run,
            order: &order,
            told: &mut told,
            dead: HashSet::new(),
            done: HashSet::new(),
        };
        walk.on(0, State::default(), &mut Vec::new());
    }
    told
}

fn permutations(all: &[usize]) -> Vec<Vec<usize>> {
    if all.len() <= 1 {
        return vec![all.to_vec()];
    }
    let mut found = Vec::new();
    for n in 0..all.len() {
        let mut rest = all.to_vec();
        let first = rest.remove(n);
        for tail in permutations(&rest) {
            found.push([vec![first], tail].concat());
        }
    }
    found
}

struct Walk<'a> {
    steps: &'a [Step],
    run: &'a [Option<usize>],
    order: &'a [usize],
    told: &'a mut Told,
    /// States from which no story reaches its end.
    dead: HashSet<(usize, State)>,
    /// States from which every story was told, with what led there noted already.
    done: HashSet<(usize, State, Vec<Taken>)>,
}

impl Walk<'_> {
    /// Goes on from a state; gives whether some story reaches its end. `taken` is what each step
    /// took so far.
    fn on(&mut self, at: usize, state: State, taken: &mut Vec<Taken>) -> bool {
        if self.dead.contains(&(at, state.clone())) {
            return false;
        }
        let key = (at, state.clone(), {
            let mut sorted = taken.clone();
            sorted.sort();
            sorted.dedup();
            sorted
        });
        if !self.done.insert(key) {
            return true;
        }
        let Some(&n) = self.order.get(at) else {
            self.end(&state, taken);
            return true;
        };
        let mut alive = false;
        for (eggs, next) in self.choices(n, &state) {
            let before = taken.len();
            taken.extend(eggs.iter().map(|egg| (n, *egg)));
            alive |= self.on(at + 1, next, taken);
            taken.truncate(before);
        }
        if !alive {
            self.dead.insert((at, state));
        }
        alive
    }

    /// The eggs that a step can have moved, and the state after it.
    fn choices(&self, n: usize, state: &State) -> Vec<(Vec<Egg>, State)> {
        let step = self.steps[n];
        let count = step.eggs as usize;
        let run = self.run[n];
        let made = |eggs: Vec<Egg>, mut next: State| {
            for (mask, of) in &eggs {
                let of = match step.to {
                    Place::Cartoned => run,
                    Place::Out | Place::Pulled | Place::Unaccounted => *of,
                    _ => None,
                };
                let egg = (mask | 1 << n, of);
                next.seen.insert((step.to, egg));
                if step.to == Place::Out {
                    next.out += 1;
                } else {
                    next.pools.entry(step.to).or_default().push(egg);
                }
            }
            next.pools.values_mut().for_each(|pool| pool.sort());
            (eggs, next)
        };
        match step.from {
            Place::Nest => vec![made(vec![(0, None); count], state.clone())],
            Place::Out => {
                let mut next = state.clone();
                next.out -= count as i64;
                if next.out < 0 {
                    return Vec::new();
                }
                let left: Vec<Egg> = state
                    .seen
                    .iter()
                    .filter(|(place, (_, of))| {
                        *place == Place::Out && (run.is_none() || *of == run)
                    })
                    .map(|(_, egg)| *egg)
                    .collect();
                draws(&left, count, true)
                    .into_iter()
                    .map(|eggs| made(eggs, next.clone()))
                    .collect()
            }
            Place::Unaccounted => {
                let upstream: &[Place] = match step.to {
                    Place::Basket => &[Place::Basket],
                    Place::Clean => &[Place::Basket, Place::Clean],
                    _ => &[Place::Basket, Place::Clean, Place::Cartoned],
                };
                let mut known: Vec<Egg> = state
                    .seen
                    .iter()
                    .filter(|(place, _)| upstream.contains(place))
                    .map(|(_, egg)| *egg)
                    .collect();
                known.push((0, None));
                known.sort();
                known.dedup();
                draws(&known, count, true)
                    .into_iter()
                    .map(|eggs| made(eggs, state.clone()))
                    .collect()
            }
            place => {
                let here = state.pools.get(&place).cloned().unwrap_or_default();
                let fits: Vec<Egg> = here
                    .iter()
                    .filter(|(_, of)| run.is_none() || step.from != Place::Cartoned || *of == run)
                    .copied()
                    .collect();
                draws(&fits, count, false)
                    .into_iter()
                    .map(|eggs| {
                        let mut next = state.clone();
                        let pool = next.pools.entry(place).or_default();
                        for egg in &eggs {
                            let n = pool.iter().position(|e| e == egg).unwrap();
                            pool.remove(n);
                        }
                        made(eggs, next)
                    })
                    .collect()
            }
        }
    }

    fn end(&mut self, state: &State, taken: &[Taken]) {
        self.told.stories += 1;
        for (n, (mask, _)) in taken {
            self.told.possible[*n] |= mask;
            self.told.lacking[*n] |= !mask & !(1 << n);
        }
        for (place, eggs) in &state.pools {
            *self.told.standing.entry(*place).or_default() |=
                eggs.iter().fold(0, |all, (mask, _)| all | mask);
        }
        for (n, step) in self.steps.iter().enumerate() {
            if step.to != Place::Cartoned || self.run[n] != Some(n) {
                continue;
            }
            let shelf = state.pools.get(&Place::Cartoned).into_iter().flatten();
            let here = shelf.filter(|(_, of)| *of == Some(n)).count();
            let range = self.told.left.entry(n).or_insert((here, here));
            *range = (range.0.min(here), range.1.max(here));
        }
    }
}

/// Every different handful of so many eggs; `again` where the same kind can be drawn many times.
fn draws(from: &[Egg], count: usize, again: bool) -> Vec<Vec<Egg>> {
    let mut kinds: BTreeMap<Egg, usize> = BTreeMap::new();
    for egg in from {
        *kinds.entry(*egg).or_default() += if again { count } else { 1 };
    }
    let kinds: Vec<(Egg, usize)> = kinds.into_iter().collect();
    fn fill(kinds: &[(Egg, usize)], left: usize, hand: &mut Vec<Egg>, all: &mut Vec<Vec<Egg>>) {
        let Some(((egg, here), rest)) = kinds.split_first() else {
            if left == 0 {
                all.push(hand.clone());
            }
            return;
        };
        for n in 0..=left.min(*here) {
            hand.extend(std::iter::repeat_n(*egg, n));
            fill(rest, left - n, hand, all);
            hand.truncate(hand.len() - n);
        }
    }
    let mut all = Vec::new();
    fill(&kinds, count, &mut Vec::new(), &mut all);
    all
}
