//! Cartons on the shelf, by run: which run an out that names none can be of.
//!
//! A *crate* is one carton run, or eggs that came to the shelf without a run. A record that names
//! its run takes from that crate. At each moment `t` a crate can spare `cap(t)`: the least that it
//! holds, by the records that name it, at `t` or any later time. It never falls, so what was spared
//! once is never missed later. Let `D(t)` be all that records without a run took up to `t`, and
//! `C(t)` the sum of what crates can spare. Then
//!
//! * a story exists when `D(t) ≤ C(t)` at every such record, whichever crates it takes from: used
//!   is used, and the sum that is left does not depend on the choice;
//! * crate `i` can be among those that a record at `t` took from when one of its eggs can be kept
//!   for it, that is when every earlier such record `z` could do with one less where `cap_i(z)` is
//!   already `cap_i(t)`. So with `z` the last one that left nothing to spare (`D(z) = C(z)`), crate
//!   `i` is possible when `cap_i(t) > cap_i(z)`: only what came, or came to be spared, since.

use super::Step;
use crate::book::Place;
use crate::record::Id;

struct Crate {
    run: Option<Id>,
    /// Steps that brought eggs.
    by: Vec<usize>,
    /// What it can spare after each step.
    cap: Vec<i64>,
}

pub(super) struct Crates {
    crates: Vec<Crate>,
    /// Steps from the shelf: the crates that each may be of.
    of: Vec<(usize, Vec<usize>)>,
    /// Steps from the shelf that name no run, with all that such steps took up to them.
    demand: Vec<(usize, i64)>,
}

impl Crates {
    /// Nothing where more left the shelf, or a run, than had come.
    pub(super) fn of(steps: &[Step]) -> Option<Crates> {
        let mut crates: Vec<Crate> = Vec::new();
        for (n, step) in steps.iter().enumerate() {
            if step.to != Place::Cartoned {
                continue;
            }
            let known = crates
                .iter_mut()
                .find(|c| c.run.is_some() && c.run == step.run);
            match known {
                Some(known) => known.by.push(n),
                None => crates.push(Crate {
                    run: step.run,
                    by: vec![n],
                    cap: Vec::new(),
                }),
            }
        }
        for c in &mut crates {
            let mut here = 0i64;
            for (n, step) in steps.iter().enumerate() {
                if c.by.contains(&n) {
                    here += i64::from(step.eggs);
                } else if step.from == Place::Cartoned && step.run.is_some() && step.run == c.run {
                    here -= i64::from(step.eggs);
                }
                c.cap.push(here);
            }
            for n in (1..c.cap.len()).rev() {
                c.cap[n - 1] = c.cap[n - 1].min(c.cap[n]);
            }
            // Below zero at any time shows at the first moment.
            if c.cap.first().is_some_and(|least| *least < 0) {
                return None;
            }
        }
        let mut all = Crates {
            crates,
            of: Vec::new(),
            demand: Vec::new(),
        };
        all.serve(steps)?;
        Some(all)
    }

    fn serve(&mut self, steps: &[Step]) -> Option<()> {
        let mut taken = 0i64;
        let mut emptied: Option<usize> = None;
        for (n, step) in steps.iter().enumerate() {
            if step.from != Place::Cartoned {
                continue;
            }
            let possible = |c: &Crate| match step.run {
                Some(run) => c.run == Some(run),
                None => c.cap[n] > emptied.map_or(0, |z| c.cap[z]),
            };
            let of: Vec<usize> = (0..self.crates.len())
                .filter(|c| possible(&self.crates[*c]))
                .collect();
            if of.is_empty() {
                return None;
            }
            self.of.push((n, of));
            if step.run.is_some() {
                continue;
            }
            taken += i64::from(step.eggs);
            self.demand.push((n, taken));
            let spare = self.crates.iter().map(|c| c.cap[n]).sum::<i64>() - taken;
            if spare < 0 {
                return None;
            }
            if spare == 0 {
                emptied = Some(n);
            }
        }
        Some(())
    }

    /// The steps that may have brought the eggs that a step took from the shelf.
    pub(super) fn feeders(&self, step: usize) -> Vec<usize> {
        let of = self.of.iter().find(|(n, _)| *n == step);
        let crates = of.into_iter().flat_map(|(_, crates)| crates);
        crates
            .flat_map(|c| self.crates[*c].by.iter().copied())
            .filter(|by| *by < step)
            .collect()
    }

    /// The steps that may have brought what is on the shelf at the end.
    pub(super) fn standing(&self) -> Vec<usize> {
        let here = self.crates.iter().filter(|c| self.range(c).1 > 0);
        here.flat_map(|c| c.by.iter().copied()).collect()
    }

    /// What is left of each run: at least, at most.
    pub(super) fn left(&self) -> Vec<(Id, u32, u32)> {
        let eggs = |n: i64| u32::try_from(n).unwrap_or(0);
        let runs = self
            .crates
            .iter()
            .filter_map(|c| Some((c.run?, self.range(c))));
        runs.map(|(run, (least, most))| (run, eggs(least), eggs(most)))
            .collect()
    }

    fn range(&self, c: &Crate) -> (i64, i64) {
        let end = c.cap.last().copied().unwrap_or(0);
        // The most that it can have given: whenever it could. The least: where the others could not.
        let (mut most_given, mut least_given, mut before) = (0i64, 0i64, 0i64);
        for (n, demand) in &self.demand {
            most_given = c.cap[*n].min(most_given + demand - before);
            before = *demand;
            let others = self.crates.iter().map(|o| o.cap[*n]).sum::<i64>() - c.cap[*n];
            least_given = least_given.max(demand - others);
        }
        (end - most_given, end - least_given)
    }
}
