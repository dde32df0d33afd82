//! The answer is the smallest set that is certain to contain the truth: held against every story.

use std::collections::BTreeSet;

use pointdown_core::book::Place;
use pointdown_core::book::trace::{Paths, Share, Step};
use pointdown_core::record::{Id, Instant};

use super::stories::tell;

/// SplitMix64, by its published constants.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % sides as u64) as usize
    }
}

fn id(n: usize) -> Id {
    // Not in the order of time, so that nothing can lean on it.
    Id::at(1_764_000_000_000, [(n * 37 % 251) as u8; 10])
}

/// A history of one lot, mostly possible, with the carton step whose run each step names.
fn history(dice: &mut Dice) -> (Vec<Step>, Vec<Option<usize>>) {
    use Place::{Basket, Cartoned, Clean, Nest, Out, Pulled, Unaccounted};
    let mut steps: Vec<Step> = Vec::new();
    let mut run: Vec<Option<usize>> = Vec::new();
    let (mut at, mut balance) = (0i64, std::collections::BTreeMap::<Place, i64>::new());
    let mut left: Vec<(usize, i64)> = Vec::new();
    // Every other history plays at the shelf: packed straight from the basket, and taken whole.
    let shelf = dice.roll(2) == 0;
    let roll = |dice: &mut Dice| match shelf {
        true => [0, 0, 7, 7, 7, 8, 8, 8, 9][dice.roll(9)],
        false => dice.roll(12),
    };
    for n in 0..4 + dice.roll(5) {
        let mut here = |p: Place| *balance.entry(p).or_default();
        let most = |have: i64, dice: &mut Dice| -> u32 {
            // Now and then more than there is: the records contradict one another then.
            if dice.roll(40) == 0 {
                have as u32 + 1
            } else if shelf && dice.roll(2) == 0 {
                have.clamp(1, 4) as u32
            } else {
                1 + dice.roll(have.clamp(1, 3) as usize) as u32
            }
        };
        let mut alone = false;
        let (from, to, eggs, of) = match roll(dice) {
            3 | 4 if here(Basket) > 0 => (Basket, Clean, most(here(Basket), dice), None),
            5 | 6 if here(Clean) > 0 => (Clean, Cartoned, most(here(Clean), dice), Some(n)),
            7 if here(Basket) > 0 => (Basket, Cartoned, most(here(Basket), dice), Some(n)),
            8 if here(Cartoned) > 0 => (
                Cartoned,
                [Out, Pulled, Unaccounted][dice.roll(3)],
                most(here(Cartoned), dice),
                None,
            ),
            9 | 10 if left.iter().any(|(_, n)| *n > 0) => {
                let runs: Vec<(usize, i64)> =
                    left.iter().filter(|(_, n)| *n > 0).copied().collect();
                let (run, n) = runs[dice.roll(runs.len())];
                (Cartoned, Out, most(n, dice), Some(run))
            }
            11 => match dice.roll(4) {
                0 if here(Clean) > 0 => (
                    Clean,
                    [Out, Pulled][dice.roll(2)],
                    most(here(Clean), dice),
                    None,
                ),
                1 if here(Out) > 0 => {
                    alone = true;
                    let named = steps
                        .iter()
                        .enumerate()
                        .filter(|(_, s): &(usize, &Step)| s.to == Out);
                    let runs: Vec<usize> = named.filter_map(|(i, _)| run[i]).collect();
                    let of = if runs.is_empty() || dice.roll(2) == 0 {
                        None
                    } else {
                        Some(runs[dice.roll(runs.len())])
                    };
                    let to = if of.is_some() {
                        Cartoned
                    } else {
                        [Basket, Clean, Cartoned][dice.roll(3)]
                    };
                    (Out, to, 1, of)
                }
                2 => {
                    alone = true;
                    (
                        Unaccounted,
                        [Basket, Clean, Cartoned][dice.roll(3)],
                        1,
                        None,
                    )
                }
                _ => (Nest, Basket, 1 + dice.roll(2) as u32, None),
            },
            _ => (Nest, Basket, 1 + dice.roll(2) as u32, None),
        };
        // Some records carry the time of the one before.
        let tied = !alone
            && steps
                .last()
                .is_some_and(|s| s.from != Out && s.from != Unaccounted);
        if !(tied && dice.roll(5) == 0) {
            at += 1;
        }
        *balance.entry(from).or_default() -= i64::from(eggs);
        *balance.entry(to).or_default() += i64::from(eggs);
        match (from, to, of) {
            (_, Cartoned, Some(of)) if of == n => left.push((n, i64::from(eggs))),
            (_, _, Some(of)) => {
                let sign = if to == Cartoned { 1 } else { -1 };
                left.iter_mut()
                    .filter(|(r, _)| *r == of)
                    .for_each(|(_, n)| *n += sign * i64::from(eggs));
            }
            _ => {}
        }
        steps.push(Step {
            record: id(n),
            at: Instant::from_ms(at * 60_000),
            from,
            to,
            eggs,
            run: of.map(id),
        });
        run.push(of);
    }
    (steps, run)
}

fn ids(mask: u16, n: usize) -> BTreeSet<Id> {
    (0..n).filter(|i| mask >> i & 1 == 1).map(id).collect()
}

#[test]
fn the_answer_is_what_some_story_tells_and_nothing_more() {
    let (mut contradictions, mut pooled, mut sure, mut stories) = (0, 0, 0, 0);
    for seed in 0..2000 {
        let mut dice = Dice(seed);
        let (steps, run) = history(&mut dice);
        let told = tell(&steps, &run);
        stories += told.stories;
        // The order in which records arrive says nothing.
        let mut shuffled = steps.clone();
        let turn = dice.roll(shuffled.len());
        shuffled.rotate_left(turn);
        let paths = Paths::of(shuffled);
        let say = || format!("seed {seed}: {steps:#?}");
        assert_eq!(paths.agrees(), told.stories > 0, "{}", say());
        if told.stories == 0 {
            contradictions += 1;
            continue;
        }
        for (n, step) in steps.iter().enumerate() {
            let mut behind = paths.behind(step.record);
            // A run that comes back is behind itself; the stories leave it out.
            behind.remove(&step.record);
            let possible = ids(told.possible[n] & !(1 << n), steps.len());
            assert_eq!(behind, possible, "behind step {n}, {}", say());
            for (m, question) in steps.iter().enumerate().filter(|(m, _)| *m != n) {
                let shares = paths.through(&BTreeSet::from([question.record]));
                let place = paths
                    .steps()
                    .iter()
                    .position(|s| s.record == step.record)
                    .unwrap();
                let due = match (
                    told.possible[n] >> m & 1 == 1,
                    told.lacking[n] >> m & 1 == 1,
                ) {
                    (false, _) => None,
                    (true, false) => Some(Share::All),
                    (true, true) => Some(Share::May),
                };
                // Eggs that came back: whether all of them did is not asked of the stories.
                if question.from != Place::Out && question.to.station().is_some() {
                    assert_eq!(shares[place], due, "step {m} to step {n}, {}", say());
                }
                match due {
                    Some(Share::May) => pooled += 1,
                    Some(Share::All) => sure += 1,
                    None => {}
                }
            }
        }
        for place in [Place::Basket, Place::Clean, Place::Cartoned] {
            let due = told.standing.get(&place).copied().unwrap_or(0);
            assert_eq!(
                paths.behind_standing(place),
                ids(due, steps.len()),
                "{place:?} {}",
                say()
            );
        }
        for (run, least, most) in paths.left() {
            let n = (0..steps.len()).find(|n| id(*n) == *run).unwrap();
            let due = told.left.get(&n).map(|(l, m)| (*l as u32, *m as u32));
            assert_eq!(Some((*least, *most)), due, "left of run {n}, {}", say());
        }
    }
    println!("{stories} stories; {contradictions} contradictions; {pooled} pooled, {sure} sure");
    // The histories must be of every sort, or the test says little.
    assert!(contradictions > 30 && pooled > 4000 && sure > 900);
}
