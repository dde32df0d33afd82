use std::collections::BTreeSet;

use serde::Serialize;

use super::crates::Crates;
use crate::book::Place;
use crate::record::{Id, Instant};

/// So many eggs of one lot going from one place to another, by one record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// The record.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// Where they were.
    pub from: Place,
    /// Where they are then.
    pub to: Place,
    /// How many.
    pub eggs: u32,
    /// The carton run that they are of, where the record names one or is one.
    pub run: Option<Id>,
}

/// How sure it is that eggs are those in question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Share {
    /// Every one of them is.
    All,
    /// Some may be: they were pooled with others.
    May,
}

/// The ways that the eggs of one lot can have gone.
#[derive(Debug, Clone)]
pub struct Paths {
    /// The steps in the order of time.
    steps: Vec<Step>,
    /// For each step, the steps that may have brought eggs of it to where it took them.
    feeders: Vec<Vec<usize>>,
    /// For each place, the steps that may have brought what stands there at the end.
    standing: Vec<(Place, Vec<usize>)>,
    /// What is left of each run at the end: at least and at most.
    left: Vec<(Id, u32, u32)>,
    agrees: bool,
}

impl Step {
    /// Whether no earlier step is needed to explain the eggs.
    pub(super) fn is_source(&self) -> bool {
        matches!(self.from, Place::Nest | Place::Unaccounted)
    }

    /// Whether eggs leave the stations.
    pub(super) fn is_exit(&self) -> bool {
        self.to.station().is_none()
    }

    /// Of steps of one moment, what brings eggs comes before what takes them, so that every order
    /// that can have been is contained.
    fn rank(&self) -> u8 {
        match (self.from, self.to) {
            (Place::Nest, _) => 0,
            (Place::Out, _) => 1,
            (Place::Unaccounted, Place::Basket) => 2,
            (Place::Basket, Place::Clean) => 3,
            (Place::Unaccounted, Place::Clean) => 4,
            (Place::Basket | Place::Clean, Place::Cartoned) => 5,
            (Place::Unaccounted, _) => 6,
            _ => 7,
        }
    }
}

/// A pool of eggs that nobody can tell apart, with the steps that its eggs came by since it was
/// last empty.
#[derive(Debug, Default, Clone)]
struct Pool {
    eggs: i64,
    by: Vec<usize>,
}

impl Pool {
    fn take(&mut self, eggs: u32) -> Vec<usize> {
        let by = self.by.clone();
        self.eggs -= i64::from(eggs);
        if self.eggs == 0 {
            self.by.clear();
        }
        by
    }
}

impl Paths {
    /// The ways of one lot, from all its moves, in any order.
    ///
    /// One pass over the steps, each of which looks at those that it may have taken from: for a lot
    /// of `n` steps at most `n²`, and a lot has a few dozen.
    pub fn of(mut steps: Vec<Step>) -> Paths {
        steps.retain(|s| s.eggs > 0);
        steps.sort_by_key(|s| (s.at, s.rank(), s.record));
        Paths::in_order(&steps).unwrap_or_else(|| Paths::without_order(steps))
    }

    fn in_order(steps: &[Step]) -> Option<Paths> {
        let crates = Crates::of(steps)?;
        let (mut basket, mut clean) = (Pool::default(), Pool::default());
        let mut outs: Vec<usize> = Vec::new();
        let mut out = 0i64;
        let mut feeders: Vec<Vec<usize>> = Vec::with_capacity(steps.len());
        for (n, step) in steps.iter().enumerate() {
            let from = match step.from {
                Place::Basket => basket.take(step.eggs),
                Place::Clean => clean.take(step.eggs),
                Place::Cartoned => crates.feeders(n),
                Place::Out => {
                    out -= i64::from(step.eggs);
                    let of_run = |o: &usize| {
                        let named = step.run;
                        named.is_none() || feeders[*o].iter().any(|f| steps[*f].run == named)
                    };
                    let back: Vec<usize> = outs.iter().copied().filter(of_run).collect();
                    if back.is_empty() {
                        return None;
                    }
                    back
                }
                Place::Unaccounted => found(&steps[..n], step.to),
                Place::Nest | Place::Pulled => Vec::new(),
            };
            if basket.eggs < 0 || clean.eggs < 0 || out < 0 {
                return None;
            }
            feeders.push(from);
            match step.to {
                Place::Basket | Place::Clean => {
                    let pool = if step.to == Place::Basket {
                        &mut basket
                    } else {
                        &mut clean
                    };
                    pool.eggs += i64::from(step.eggs);
                    pool.by.push(n);
                }
                Place::Out => {
                    out += i64::from(step.eggs);
                    outs.push(n);
                }
                _ => {}
            }
        }
        Some(Paths {
            steps: steps.to_vec(),
            feeders,
            standing: vec![
                (Place::Basket, basket.by),
                (Place::Clean, clean.by),
                (Place::Cartoned, crates.standing()),
            ],
            left: crates.left(),
            agrees: true,
        })
    }

    /// The records contradict one another: only lot, station and run are believed.
    fn without_order(steps: Vec<Step>) -> Paths {
        let into = |place: Place, run: Option<Id>| -> Vec<usize> {
            let all = |run: Option<Id>| {
                let of_run = move |s: &Step| run.is_none() || s.run == run;
                let here = steps.iter().enumerate();
                here.filter(move |(_, s)| s.to == place && of_run(s))
                    .map(|(n, _)| n)
                    .collect::<Vec<_>>()
            };
            let named = all(run);
            if named.is_empty() { all(None) } else { named }
        };
        let feeders = steps
            .iter()
            .map(|step| match step.from {
                Place::Nest | Place::Pulled => Vec::new(),
                Place::Unaccounted => found(&steps, step.to),
                Place::Cartoned => into(Place::Cartoned, step.run),
                place => into(place, None),
            })
            .collect();
        let sum = |run: Id| {
            let of_run = steps.iter().filter(|s| s.run == Some(run));
            let eggs = of_run.map(|s| match (s.from, s.to) {
                (_, Place::Cartoned) => i64::from(s.eggs),
                (Place::Cartoned, _) => -i64::from(s.eggs),
                _ => 0,
            });
            u32::try_from(eggs.sum::<i64>()).unwrap_or(0)
        };
        let runs = steps
            .iter()
            .filter(|s| s.to == Place::Cartoned && s.run == Some(s.record));
        Paths {
            standing: [Place::Basket, Place::Clean, Place::Cartoned]
                .map(|place| (place, into(place, None)))
                .to_vec(),
            left: runs.map(|s| (s.record, 0, sum(s.record))).collect(),
            feeders,
            agrees: false,
            steps,
        }
    }

    /// Eggs of the lot at a place at the end.
    pub fn balance(&self, place: Place) -> i64 {
        let eggs = self.steps.iter().map(|s| {
            let n = i64::from(s.eggs);
            n * (i64::from(s.to == place) - i64::from(s.from == place))
        });
        eggs.sum()
    }

    /// Whether the records of the lot agree with one another; if not, times and numbers were not
    /// used.
    pub fn agrees(&self) -> bool {
        self.agrees
    }

    /// The steps in the order of time.
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// Eggs of the lot that are left of each carton run: the run, at least, at most.
    pub fn left(&self) -> &[(Id, u32, u32)] {
        &self.left
    }

    /// The records that eggs of this record may have gone through before.
    pub fn behind(&self, record: Id) -> BTreeSet<Id> {
        let own = (0..self.steps.len()).filter(|n| self.steps[*n].record == record);
        self.upstream(own.flat_map(|n| self.feeders[n].clone()).collect())
    }

    /// The records that eggs standing at this place may have gone through before.
    pub fn behind_standing(&self, place: Place) -> BTreeSet<Id> {
        let here = self.standing.iter().filter(|(p, _)| *p == place);
        self.upstream(here.flat_map(|(_, by)| by.clone()).collect())
    }

    fn upstream(&self, mut open: Vec<usize>) -> BTreeSet<Id> {
        let mut seen = vec![false; self.steps.len()];
        let mut found = BTreeSet::new();
        while let Some(n) = open.pop() {
            if !std::mem::replace(&mut seen[n], true) {
                found.insert(self.steps[n].record);
                open.extend(&self.feeders[n]);
            }
        }
        found
    }

    /// For each step, whether eggs of it are or went through `these` records.
    pub fn through(&self, these: &BTreeSet<Id>) -> Vec<Option<Share>> {
        let hit: Vec<bool> = self
            .steps
            .iter()
            .map(|s| these.contains(&s.record))
            .collect();
        let touched = self.spread(|n| hit[n], |_| true);
        // Spared is what can be reached from a source without passing one of them.
        let spared = self.spread(|n| self.steps[n].is_source() && !hit[n], |n| !hit[n]);
        self.shares(&touched, &spared)
    }

    /// For each step, whether eggs of it were on the farm at some time of a span. What left before
    /// it was not, nor were the cartons of which all had left.
    pub fn present(&self, from: Instant, to: Instant) -> Vec<Option<Share>> {
        let source = |n: usize| self.steps[n].is_source();
        let touched = self.spread(|n| source(n) && self.steps[n].at <= to, |_| true);
        let spared = self.spread(|n| source(n) && self.steps[n].at > to, |_| true);
        let mut shares = self.shares(&touched, &spared);
        for (step, share) in self.steps.iter().zip(&mut shares) {
            if step.is_exit() && step.at < from {
                *share = None;
            }
        }
        for n in 0..self.steps.len() {
            let step = &self.steps[n];
            if step.to != Place::Cartoned || step.at >= from {
                continue;
            }
            let left = self
                .left
                .iter()
                .any(|(run, _, most)| step.run == Some(*run) && *most > 0);
            let feeds = |exit: usize| shares[exit].is_some() && self.feeders[exit].contains(&n);
            let later = (0..self.steps.len()).any(|exit| self.steps[exit].is_exit() && feeds(exit));
            if !left && !later {
                shares[n] = None;
            }
        }
        shares
    }

    fn shares(&self, touched: &[bool], spared: &[bool]) -> Vec<Option<Share>> {
        let share = |n: usize| match (touched[n], spared[n]) {
            (false, _) => None,
            (true, false) => Some(Share::All),
            (true, true) => Some(Share::May),
        };
        (0..self.steps.len()).map(share).collect()
    }

    /// What stands at a place at the end, given the share of each step.
    pub fn standing(&self, place: Place, shares: &[Option<Share>]) -> Option<Share> {
        let by = &self.standing.iter().find(|(p, _)| *p == place)?.1;
        let here: Vec<Option<Share>> = by.iter().map(|n| shares[*n]).collect();
        if here.iter().all(Option::is_none) {
            None
        } else if here.iter().all(|s| *s == Some(Share::All)) {
            Some(Share::All)
        } else {
            Some(Share::May)
        }
    }

    /// Marks what can be reached from the steps where it `begins`, through steps that it `passes`.
    fn spread(&self, begins: impl Fn(usize) -> bool, passes: impl Fn(usize) -> bool) -> Vec<bool> {
        let mut marked: Vec<bool> = (0..self.steps.len()).map(begins).collect();
        // In the order of time one round is enough; without it a few more.
        loop {
            let mut more = false;
            for n in 0..self.steps.len() {
                if !marked[n] && passes(n) && self.feeders[n].iter().any(|f| marked[*f]) {
                    marked[n] = true;
                    more = true;
                }
            }
            if !more {
                return marked;
            }
        }
    }
}

/// Steps whose eggs a count at this place may have found.
fn found(before: &[Step], place: Place) -> Vec<usize> {
    let upstream: &[Place] = match place {
        Place::Basket => &[Place::Basket],
        Place::Clean => &[Place::Basket, Place::Clean],
        _ => &[Place::Basket, Place::Clean, Place::Cartoned],
    };
    let here = before.iter().enumerate();
    here.filter(|(_, s)| upstream.contains(&s.to))
        .map(|(n, _)| n)
        .collect()
}
