use std::collections::BTreeSet;

use serde::Serialize;

use super::super::Place;
use super::super::trace::{Paths, Share};
use super::Desk;
use crate::record::{Body, Id, Instant, Lot, Record, run_code};
use crate::trade::clock::lay_window;
use crate::trade::{Reason, Species};

/// Eggs that stand at a station: of one lot, or in the cartons of one run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Here {
    /// Where.
    pub place: Place,
    /// Whose eggs.
    pub species: Species,
    /// The lot; nothing where a carton run has several.
    pub lot: Option<Lot>,
    /// The carton run.
    pub run: Option<Id>,
    /// The code on the cartons, logged or not; nothing for eggs that are in no run.
    pub code: Option<String>,
    /// How many; of a carton run at most so many.
    pub eggs: i64,
    /// Cartons, at most; an open one counts.
    pub cartons: u32,
    /// The earliest moment at which one of them can have been laid.
    pub laid: Instant,
    /// How that moment is known.
    pub laid_by: Reason,
    /// Since then, in minutes of elapsed time.
    pub age_minutes: i64,
    /// The first gather that one of them can be of.
    pub gathered: Option<Instant>,
    /// Whether a gather is known that they are of; if not, `laid` is the day before their lot's day
    /// began.
    pub known_round: bool,
    /// Whether they are held: all of them, or some may be.
    pub held: Option<Share>,
    /// The holds.
    pub holds: Vec<Id>,
}

/// What stands where, station by station, the oldest first.
pub fn here(desk: &Desk, at: Instant) -> Vec<Here> {
    let facts = &desk.facts;
    let mut all = Vec::new();
    for (lot, paths) in &facts.lots {
        for place in [Place::Basket, Place::Clean] {
            let eggs = paths.balance(place);
            if eggs > 0 {
                all.push(stands(
                    desk,
                    (place, eggs, *lot),
                    &[(*lot, paths)],
                    at,
                    |p| p.behind_standing(place),
                ));
            }
        }
        let in_runs: i64 = paths
            .left()
            .iter()
            .map(|(_, _, most)| i64::from(*most))
            .sum();
        let loose = paths.balance(Place::Cartoned) - in_runs;
        if loose > 0 {
            let place = (Place::Cartoned, loose, *lot);
            all.push(stands(desk, place, &[(*lot, paths)], at, |p| {
                p.behind_standing(Place::Cartoned)
            }));
        }
    }
    for record in facts.records.values() {
        all.extend(cartons(desk, record, at));
    }
    all.sort_by_key(|h| (h.place, h.laid, h.lot, h.run));
    all
}

fn cartons(desk: &Desk, record: &Record, at: Instant) -> Option<Here> {
    let Body::Carton(carton) = &record.body else {
        return None;
    };
    let facts = &desk.facts;
    let lots: Vec<(Lot, &Paths)> = carton
        .parts
        .0
        .keys()
        .filter_map(|lot| Some((*lot, facts.lots.get(lot)?)))
        .collect();
    let left = |paths: &Paths| {
        let of_run = paths.left().iter().find(|(run, _, _)| *run == record.id);
        of_run.map_or(0, |(_, _, most)| i64::from(*most))
    };
    let eggs: i64 = lots.iter().map(|(_, paths)| left(paths)).sum();
    // Only lots with eggs left make the cartons as old as they are.
    let lots: Vec<_> = lots.into_iter().filter(|(_, p)| left(p) > 0).collect();
    let (first, _) = lots.first()?;
    let mut here = stands(desk, (Place::Cartoned, eggs, *first), &lots, at, |p| {
        p.behind(record.id)
    });
    here.lot = (carton.parts.0.len() == 1).then_some(*first);
    here.run = Some(record.id);
    here.code = Some(run_code(
        carton.code.as_deref(),
        carton.parts.0.keys().copied(),
        carton.packed,
        record.id,
    ));
    let per = carton.eggs_per_carton.max(1);
    here.cartons = u32::try_from(eggs).unwrap_or(0).div_ceil(per);
    Some(here)
}

fn stands(
    desk: &Desk,
    (place, eggs, lot): (Place, i64, Lot),
    lots: &[(Lot, &Paths)],
    at: Instant,
    behind: impl Fn(&Paths) -> BTreeSet<Id>,
) -> Here {
    let facts = &desk.facts;
    let upstream: Vec<BTreeSet<Id>> = lots.iter().map(|(_, paths)| behind(paths)).collect();
    let gathers: Vec<&Record> = upstream
        .iter()
        .flatten()
        .filter_map(|id| facts.records.get(id))
        .filter(|r| matches!(r.body, Body::Gather(_)))
        .collect();
    let laid = gathers
        .iter()
        .map(|g| earliest(desk, g))
        .min_by_key(|(at, _)| *at);
    let unknown = || {
        let day = lots.iter().map(|(lot, _)| lot.day).min().unwrap_or(lot.day);
        facts.zone.day_begins(day.pred_opt().unwrap_or(day))
    };
    let mut holds = Vec::new();
    let mut held: Option<Share> = None;
    for record in &facts.holds {
        let Body::Hold(hold) = &record.body else {
            continue;
        };
        let of_hold = facts.held(hold);
        let touched = upstream.iter().flatten().any(|id| of_hold.contains(id));
        if !touched {
            continue;
        }
        holds.push(record.id);
        // All of them only where no other round can be behind them.
        let all = gathers.iter().all(|g| of_hold.contains(&g.id)) && !found(desk, &upstream);
        let share = if all { Share::All } else { Share::May };
        held = Some(held.map_or(share, |h| h.min(share)));
    }
    let known_round = laid.is_some();
    let (laid, laid_by) = laid.unwrap_or_else(|| {
        let words = "No gather of them is known: they count as laid the day before their lot";
        (unknown(), Reason::common_practice(words))
    });
    Here {
        place,
        species: lot.species,
        lot: Some(lot),
        run: None,
        code: None,
        eggs,
        cartons: 0,
        laid,
        laid_by,
        age_minutes: (at.ms() - laid.ms()).max(0) / 60_000,
        gathered: gathers.iter().map(|g| g.at).min(),
        known_round,
        held,
        holds,
    }
}

/// Whether a count that found too many may be behind them.
fn found(desk: &Desk, upstream: &[BTreeSet<Id>]) -> bool {
    let mut records = upstream.iter().flatten();
    records.any(|id| {
        let record = desk.facts.records.get(id);
        record.is_some_and(|r| matches!(r.body, Body::Recount(_)))
    })
}

/// The earliest moment at which an egg of a gather can have been laid, and why.
fn earliest(desk: &Desk, gather: &Record) -> (Instant, Reason) {
    let before = desk.gathered_before.get(&gather.id).map(|at| at.utc());
    let found = lay_window(before, gather.at.utc()).ok();
    let why = found.as_ref().and_then(|f| f.why.first().cloned());
    let at = found.map_or(gather.at, |f| {
        Instant::from_ms(f.value.earliest.timestamp_millis())
    });
    let why = why.unwrap_or_else(|| Reason::common_practice("The gather itself"));
    (at, why)
}
