use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::line::fingerprint;
use super::{Choice, Finding, Weight, What};
use crate::record::{Hold, Id, Instant, Lot, Record};

/// How a lot stands to a hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Affected {
    /// No egg of it is held.
    Not,
    /// Eggs of the held flock are pooled in it with others: nobody can tell which.
    Pooled,
    /// All of it is held.
    All,
}

/// A run of cartons, as far as a hold is concerned.
#[derive(Debug, Clone)]
pub struct CartonRun<'a> {
    /// Its record.
    pub record: &'a Record,
    /// Cartons packed.
    pub cartons: u32,
    /// Cartons that left and did not come back.
    pub gone: u32,
    /// How its lots stand to the hold: the worst of them.
    pub affected: Affected,
}

/// Eggs that left.
#[derive(Debug, Clone)]
pub struct Gone<'a> {
    /// The record of the out.
    pub record: &'a Record,
    /// To whom, in words.
    pub to: String,
    /// How its lots stand to the hold: the worst of them.
    pub affected: Affected,
}

impl Affected {
    /// How a lot stands to a hold. A lot that is not kept apart by coop holds eggs of every coop
    /// that was `gathered` from on its day, so it may hold some of the held coop's.
    pub fn of(lot: &Lot, hold: &Hold, gathered: impl Fn(Id, NaiveDate) -> Gathered) -> Affected {
        let in_time = lot.day >= hold.from && hold.until.is_none_or(|until| lot.day <= until);
        if !in_time || hold.species.is_some_and(|s| s != lot.species) {
            return Affected::Not;
        }
        let Some(coop) = hold.coop else {
            return Affected::All;
        };
        if let Some(of) = lot.coop {
            return if of == coop {
                Affected::All
            } else {
                Affected::Not
            };
        }
        match gathered(coop, lot.day) {
            Gathered::Nothing => Affected::Not,
            Gathered::Some => Affected::Pooled,
            Gathered::Everything => Affected::All,
        }
    }
}

/// What of a day's eggs of a species came from one coop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gathered {
    /// None.
    Nothing,
    /// Some of them.
    Some,
    /// All of them.
    Everything,
}

/// Cartons and outs with eggs of a hold: the most urgent line there is.
pub fn held(hold: &Record, runs: &[CartonRun<'_>], gone: &[Gone<'_>]) -> Option<Finding> {
    let on_shelf: BTreeMap<Id, u32> = runs
        .iter()
        .filter(|run| run.affected != Affected::Not && run.gone < run.cartons)
        .map(|run| (run.record.id, run.cartons - run.gone))
        .collect();
    let out: Vec<&Gone<'_>> = gone
        .iter()
        .filter(|g| g.affected != Affected::Not)
        .collect();
    if on_shelf.is_empty() && out.is_empty() {
        return None;
    }
    let certain = runs
        .iter()
        .filter(|run| on_shelf.contains_key(&run.record.id))
        .map(|run| run.affected)
        .chain(out.iter().map(|g| g.affected))
        .all(|a| a == Affected::All);
    // Since both were there: the hold, and the first eggs that it covers.
    let since = runs
        .iter()
        .filter(|run| on_shelf.contains_key(&run.record.id))
        .map(|run| run.record.at)
        .chain(out.iter().map(|g| g.record.at))
        .min()
        .unwrap_or(Instant::EARLIEST)
        .max(hold.at);
    let mut concerned: Vec<&Record> = vec![hold];
    concerned.extend(
        runs.iter()
            .filter(|r| on_shelf.contains_key(&r.record.id))
            .map(|r| r.record),
    );
    concerned.extend(out.iter().map(|g| g.record));
    let mut state: Vec<String> = on_shelf
        .iter()
        .map(|(run, n)| format!("{}={n}", run.short()))
        .collect();
    state.extend(out.iter().map(|g| g.record.id.short()));
    let mut choices = Vec::new();
    if !on_shelf.is_empty() {
        choices.push(Choice::PullHeld {
            cartons: on_shelf.keys().copied().collect(),
        });
    }
    choices.push(Choice::Seen);
    Some(
        Finding::new(
            format!("held/{}", hold.id),
            What::HeldEggs {
                on_shelf,
                gone: out.iter().map(|g| (g.record.id, g.to.clone())).collect(),
                certain,
            },
            Weight::Urgent,
            since,
        )
        .state(format!("{:016x}", fingerprint(&state.join(" "))))
        .about(
            concerned.iter().map(|r| r.id),
            concerned.iter().map(|r| r.by),
        )
        .choices(choices),
    )
}
