use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::Serialize;

use super::call::{OutReached, out_of};
use super::facts::{overall, share_of};
use super::{Facts, Run, Share};
use crate::record::{Body, Hold, Id, Instant, Lot, Record, Wash};
use crate::trade::Species;

/// What a trail is made from beside the lots: what looked at the eggs without moving them.
#[derive(Debug, Clone)]
pub struct Behind<'a> {
    /// The lots of the run, and their records.
    pub facts: &'a Facts,
    /// Candlings of these lots.
    pub candlings: &'a [Record],
    /// Cooler readings from the packing on, in any order.
    pub readings: &'a [Record],
    /// Now: while cartons are left, readings count up to here.
    pub now: Instant,
}

/// Everything that may be behind a run of cartons, and where it went.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trail {
    /// The cartons.
    pub run: Run,
    /// The gathers that eggs of it may be from, the earliest first.
    pub rounds: Vec<Round>,
    /// Whether eggs may be in it that a count found and no gather explains.
    pub of_unknown_round: bool,
    /// The coops of these rounds.
    pub coops: BTreeSet<String>,
    /// Everyone who had eggs of it in hand: gathered, cleaned, candled, packed.
    pub people: BTreeSet<String>,
    /// Cleaning batches that eggs of it may have gone through.
    pub washes: Vec<Washed>,
    /// Candlings that may have looked at eggs of it: those of its lots.
    pub candlings: Vec<Candled>,
    /// Holds on rounds that eggs of it may be from.
    pub holds: Vec<HoldBehind>,
    /// Readings of the coolers while cartons of it were here. No record says in which one they
    /// stood.
    pub readings: Vec<Cooled>,
    /// To whom cartons of it went.
    pub outs: Vec<OutReached>,
    /// Eggs left: at least, at most.
    pub left: (u32, u32),
    /// Lots whose records contradict one another; of them times and numbers were not used.
    pub contradicting: Vec<Lot>,
    /// How sure the answer is, in words.
    pub said: Vec<String>,
}

/// A gather behind a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Round {
    /// The record.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// Who.
    pub by: Option<String>,
    /// The coop's name.
    pub coop: Option<String>,
    /// Whose eggs.
    pub species: Species,
    /// Eggs gathered.
    pub count: u32,
    /// How sure it is, of all eggs of the run.
    pub share: Share,
}

/// A cleaning batch behind a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Washed {
    /// The record.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// Who.
    pub by: Option<String>,
    /// With what, how warm, how strong.
    pub wash: Wash,
    /// How sure it is, of all eggs of the run.
    pub share: Share,
}

/// A candling that may have seen eggs of a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Candled {
    /// The record.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// Who.
    pub by: Option<String>,
    /// How many of each quality.
    pub found: BTreeMap<String, u32>,
    /// Deepest air cell measured, mm.
    pub air_cell_mm: Option<f64>,
    /// Whether it was before the packing.
    pub before_packing: bool,
}

/// A hold on rounds behind a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HoldBehind {
    /// The record.
    pub record: Id,
    /// Why.
    pub cause: String,
    /// Medicine or treatment.
    pub given: Option<String>,
    /// The coop's name; the whole farm where there is none.
    pub coop: Option<String>,
    /// First day held.
    pub from: NaiveDate,
    /// Last day held.
    pub until: Option<NaiveDate>,
    /// How sure it is, of all eggs of the run.
    pub share: Share,
}

/// A cooler reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cooled {
    /// The record.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// The cooler's name.
    pub cooler: Option<String>,
    /// Air, °C.
    pub air_c: f64,
    /// Whether that is warmer than the rule pack allows; nothing where it sets no limit.
    pub too_warm: Option<bool>,
}

/// Traces a run of cartons back to the nests, and on to those who have it. Nothing where the record
/// is no carton run.
pub fn trail(run: &Record, behind: &Behind<'_>) -> Option<Trail> {
    let facts = behind.facts;
    let about = facts.run(run)?;
    let lots = || about.lots.keys().filter_map(|lot| facts.lots.get(lot));
    let upstream: BTreeSet<Id> = lots().flat_map(|paths| paths.behind(run.id)).collect();
    let records: Vec<&Record> = in_time(upstream.iter().filter_map(|id| facts.records.get(id)));
    let share = |these: &BTreeSet<Id>| {
        overall(lots().map(|paths| share_of(paths, &paths.through(these), run.id, None)))
    };
    let one = |record: &Record| share(&BTreeSet::from([record.id])).unwrap_or(Share::May);
    let mut trail = Trail {
        rounds: Vec::new(),
        of_unknown_round: false,
        coops: BTreeSet::new(),
        people: BTreeSet::new(),
        washes: Vec::new(),
        candlings: Vec::new(),
        holds: Vec::new(),
        readings: Vec::new(),
        outs: Vec::new(),
        left: facts.left(run.id),
        contradicting: facts.contradicting(),
        said: Vec::new(),
        run: about.clone(),
    };
    for record in &records {
        let by = facts.name(record.by);
        match &record.body {
            Body::Gather(gather) => {
                let coop = facts.name(Some(gather.coop));
                trail.coops.extend(coop.clone());
                trail.rounds.push(Round {
                    record: record.id,
                    at: record.at,
                    by: by.clone(),
                    coop,
                    species: gather.species,
                    count: gather.count,
                    share: one(record),
                });
            }
            Body::Wash(wash) => trail.washes.push(Washed {
                record: record.id,
                at: record.at,
                by: by.clone(),
                wash: wash.clone(),
                share: one(record),
            }),
            Body::Recount(_) => trail.of_unknown_round = true,
            _ => continue,
        }
        trail.people.extend(by);
    }
    trail.people.extend(facts.name(run.by));
    candled(&mut trail, behind, run);
    held(&mut trail, behind, &share);
    let went = |record: &&Record| match &record.body {
        Body::Out(_) => lots().any(|paths| {
            paths.steps().iter().any(|s| s.record == record.id)
                && paths.behind(record.id).contains(&run.id)
        }),
        _ => false,
    };
    for record in in_time(facts.records.values().filter(went)) {
        let sure = match &record.body {
            Body::Out(out) if out.carton == Some(run.id) => Share::All,
            _ => Share::May,
        };
        let lots: BTreeSet<Lot> = about.lots.keys().copied().collect();
        trail.outs.extend(out_of(facts, record, sure, &lots));
    }
    cooled(&mut trail, behind, run);
    trail.said = said(&trail);
    Some(trail)
}

fn in_time<'a>(records: impl Iterator<Item = &'a Record>) -> Vec<&'a Record> {
    let mut all: Vec<&Record> = records.collect();
    all.sort_by_key(|r| (r.at, r.id));
    all
}

fn candled(trail: &mut Trail, behind: &Behind<'_>, run: &Record) {
    // An egg can be looked at from the moment it is gathered.
    let since = trail.rounds.iter().map(|r| r.at).min();
    for record in in_time(behind.candlings.iter()) {
        let Body::Candle(candle) = &record.body else {
            continue;
        };
        let of_lots = candle
            .parts
            .0
            .keys()
            .any(|lot| trail.run.lots.contains_key(lot));
        if !of_lots || since.is_some_and(|since| record.at < since) {
            continue;
        }
        let by = behind.facts.name(record.by);
        trail.people.extend(by.clone());
        trail.candlings.push(Candled {
            record: record.id,
            at: record.at,
            by,
            found: candle.found.clone(),
            air_cell_mm: candle.air_cell_mm,
            before_packing: record.at <= run.at,
        });
    }
}

fn held(trail: &mut Trail, behind: &Behind<'_>, share: &dyn Fn(&BTreeSet<Id>) -> Option<Share>) {
    for record in in_time(behind.facts.holds.iter()) {
        let Body::Hold(hold) = &record.body else {
            continue;
        };
        let Hold {
            from,
            until,
            cause,
            given,
            ..
        } = hold.clone();
        if let Some(share) = share(&behind.facts.held(hold)) {
            trail.holds.push(HoldBehind {
                record: record.id,
                cause,
                given,
                coop: behind.facts.name(hold.coop),
                from,
                until,
                share,
            });
        }
    }
}

fn cooled(trail: &mut Trail, behind: &Behind<'_>, run: &Record) {
    let last_out = trail.outs.iter().map(|o| o.at).max();
    let until = match last_out {
        Some(out) if trail.left.1 == 0 => out,
        _ => behind.now,
    };
    let limit = behind
        .facts
        .pack
        .as_ref()
        .and_then(|p| p.chill.cooler_max.clone());
    for record in in_time(behind.readings.iter()) {
        let Body::Reading(reading) = &record.body else {
            continue;
        };
        if !(run.at..=until).contains(&record.at) {
            continue;
        }
        trail.readings.push(Cooled {
            record: record.id,
            at: record.at,
            cooler: behind.facts.name(Some(reading.cooler)),
            air_c: reading.air_c,
            too_warm: limit.as_ref().map(|limit| reading.air_c > limit.value.0),
        });
    }
}

fn said(trail: &Trail) -> Vec<String> {
    let mut said = Vec::new();
    let sure = trail.rounds.len() == 1 && !trail.of_unknown_round;
    said.push(if sure {
        "Every egg of it is from this round.".to_string()
    } else {
        "The eggs were pooled: each is from one of these rounds, and the records cannot tell which. \
         No round that the records rule out is named."
            .to_string()
    });
    if trail.of_unknown_round {
        said.push(
            "A count found more eggs than had been logged; those may be of no round that is known."
                .into(),
        );
    }
    if !trail.contradicting.is_empty() {
        said.push(
            "The records of a lot contradict one another, so neither times nor numbers of it were \
             used: the answer is wider than it would have to be."
                .into(),
        );
    }
    if !trail.candlings.is_empty() {
        said.push("A candling names lots, not cartons: it may have looked at other eggs.".into());
    }
    if !trail.readings.is_empty() {
        said.push("No record says in which cooler the cartons stood.".into());
    }
    said
}
