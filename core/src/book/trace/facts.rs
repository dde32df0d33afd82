use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::Serialize;

use super::{Paths, Share};
use crate::book::{Names, Place};
use crate::record::{Body, Carton, Hold, Id, Instant, Lot, Outlet, Record, Zone, run_code};
use crate::trade::Species;
use crate::trade::rules::RulePack;

/// What a trace is made from: everything about the lots that it touches.
#[derive(Debug, Clone)]
pub struct Facts {
    /// The zone that farm days go by.
    pub zone: Zone,
    /// Names of coops, people, coolers and outlets.
    pub names: Names,
    /// The outlets, for how to reach them.
    pub outlets: BTreeMap<Id, Outlet>,
    /// The rule pack in force, if the farm chose one.
    pub pack: Option<RulePack>,
    /// The ways of each lot.
    pub lots: BTreeMap<Lot, Paths>,
    /// The live records behind the moves of these lots.
    pub records: BTreeMap<Id, Record>,
    /// Every live hold.
    pub holds: Vec<Record>,
}

/// A run of cartons, for lists.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Its record.
    pub record: Id,
    /// The code printed on the cartons, where one was logged.
    pub code: Option<String>,
    /// The code on the cartons, logged or not: what a label of them bears.
    pub printed: String,
    /// When they were packed.
    pub at: Instant,
    /// The day of packing on the label.
    pub packed: NaiveDate,
    /// The date on the label.
    pub best_by: Option<NaiveDate>,
    /// Who packed them.
    pub by: Option<String>,
    /// Whose eggs.
    pub species: Species,
    /// Weight class.
    pub size: Option<String>,
    /// Eggs in each carton.
    pub eggs_per_carton: u32,
    /// Cartons packed.
    pub cartons: u32,
    /// The lots in them, with eggs of each.
    pub lots: BTreeMap<Lot, u32>,
}

impl Facts {
    pub(in crate::book) fn name(&self, id: Option<Id>) -> Option<String> {
        id.map(|id| {
            let known = self.names.get(&id).cloned();
            known.unwrap_or_else(|| format!("#{}", id.short()))
        })
    }

    /// The gathers of these lots that a hold is about.
    pub fn held(&self, hold: &Hold) -> BTreeSet<Id> {
        let covers = |record: &&Record| {
            let Body::Gather(gather) = &record.body else {
                return false;
            };
            let day = self.zone.day(record.at);
            hold.coop.is_none_or(|coop| coop == gather.coop)
                && hold.species.is_none_or(|species| species == gather.species)
                && day >= hold.from
                && hold.until.is_none_or(|until| day <= until)
        };
        self.records.values().filter(covers).map(|r| r.id).collect()
    }

    pub(super) fn run(&self, record: &Record) -> Option<Run> {
        let Body::Carton(carton) = &record.body else {
            return None;
        };
        Some(Run {
            record: record.id,
            code: carton.code.clone(),
            printed: printed(carton, record.id),
            at: record.at,
            packed: carton.packed,
            best_by: carton.best_by,
            by: self.name(record.by),
            species: carton.species,
            size: carton.size.clone(),
            eggs_per_carton: carton.eggs_per_carton,
            cartons: carton.cartons,
            lots: carton.parts.0.clone(),
        })
    }

    /// Lots whose records contradict one another.
    pub(super) fn contradicting(&self) -> Vec<Lot> {
        let lots = self.lots.iter().filter(|(_, paths)| !paths.agrees());
        lots.map(|(lot, _)| *lot).collect()
    }

    /// Whether no lot of a run has records that contradict one another.
    pub(super) fn agree_on(&self, run: &Run) -> bool {
        let mut lots = run.lots.keys().filter_map(|lot| self.lots.get(lot));
        lots.all(Paths::agrees)
    }

    /// Cartons of a run that went and did not come back, by the outs that are known here.
    pub(super) fn gone(&self, run: Id) -> u32 {
        let (mut went, mut back) = (0u32, 0u32);
        for record in self.records.values() {
            if let Body::Out(out) = &record.body
                && out.carton == Some(run)
            {
                let of = if out.way == "returned" {
                    &mut back
                } else {
                    &mut went
                };
                *of = of.saturating_add(out.cartons.unwrap_or(0));
            }
        }
        went.saturating_sub(back)
    }

    /// Eggs of a run that are left, at least and at most, over all its lots that are known here.
    pub(super) fn left(&self, run: Id) -> (u32, u32) {
        let all = self.lots.values().flat_map(Paths::left);
        let of_run = all.filter(|(of, _, _)| *of == run);
        of_run.fold((0, 0), |(least, most), (_, l, m)| (least + l, most + m))
    }
}

/// The code on the cartons of a run.
pub(super) fn printed(carton: &Carton, run: Id) -> String {
    let lots = carton.parts.0.keys().copied();
    run_code(carton.code.as_deref(), lots, carton.packed, run)
}

/// The share of a record over all its lots: sure only where each of them is.
pub(super) fn overall(lots: impl Iterator<Item = Option<Share>>) -> Option<Share> {
    let all: Vec<Option<Share>> = lots.collect();
    if all.iter().all(Option::is_none) {
        None
    } else if all.iter().all(|s| *s == Some(Share::All)) {
        Some(Share::All)
    } else {
        Some(Share::May)
    }
}

/// The share of a record's step in one lot, from the station or to it.
pub(super) fn share_of(
    paths: &Paths,
    shares: &[Option<Share>],
    record: Id,
    to: Option<Place>,
) -> Option<Share> {
    let steps = paths.steps().iter().zip(shares);
    let of_record = steps.filter(|(s, _)| s.record == record && to.is_none_or(|to| s.to == to));
    overall(of_record.map(|(_, share)| *share))
}
