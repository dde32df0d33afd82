//! Now: what stands where, how old, and what is due next and why.
//!
//! A pure function of the records and the moment. Ages count elapsed time from the earliest moment
//! at which an egg can have been laid, the gather before; where lots were pooled, from the earliest
//! gather that eggs of the lot may still be of (see [`super::trace`]). Limits come from the rule
//! pack that the farm chose; without one only the habits of the trade and the holds are shown.

mod eggs;
mod here;
mod reasons;
mod suggest;
mod tools;

use serde::Serialize;

pub use here::{Here, here};
pub use reasons::Reasons;
pub use suggest::{NotToTouch, Suggestion, Take, suggest};
pub use tools::{Brushes, COOLER_DAYS};

use super::Place;
use super::review::Setting;
use super::trace::{Facts, Share};
use crate::record::{Id, Instant, Lot, Record};
use crate::trade::{Reason, Species};
use std::collections::BTreeMap;

/// What the list is made from.
#[derive(Debug, Clone)]
pub struct Desk {
    /// Every lot of which eggs stand at a station, with its records.
    pub facts: Facts,
    /// The rules in force.
    pub setting: Setting,
    /// For each gather, when the same coop was gathered of the same species before.
    pub gathered_before: BTreeMap<Id, Instant>,
    /// Eggs candled of each lot.
    pub candled: BTreeMap<Lot, u32>,
    /// The brush, and what it did.
    pub brushes: Brushes,
    /// The latest reading of each cooler, if it is of the last days.
    pub readings: Vec<Record>,
}

/// What has to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// Held eggs stand here: set them apart, touch them no further.
    SetApart,
    /// A cooler is too warm or too cold.
    Cooler,
    /// Into the cooler.
    Chill,
    /// Clean.
    Wash,
    /// Look through the shell.
    Candle,
    /// Into cartons.
    Pack,
    /// Sell, or deliver.
    Sell,
    /// The best-by date of cartons ends.
    BestBy,
    /// A hold ends.
    HoldEnds,
    /// Replace the brush.
    Brush,
}

/// One thing that is due.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Due {
    /// What.
    pub what: What,
    /// By when; nothing where no rule gives a moment.
    pub due: Option<Instant>,
    /// Whether that has passed.
    pub overdue: bool,
    /// Where the eggs are.
    pub place: Option<Place>,
    /// Whose eggs.
    pub species: Option<Species>,
    /// Which lot, unless cartons of several are meant.
    pub lot: Option<Lot>,
    /// Which carton run.
    pub run: Option<Id>,
    /// The code on the cartons, logged or not.
    pub code: Option<String>,
    /// The coop or cooler, by name.
    pub name: Option<String>,
    /// How many eggs; 0 where it is not about eggs.
    pub eggs: i64,
    /// Cartons, at most; 0 where it is not about cartons.
    pub cartons: u32,
    /// The earliest moment at which one of the eggs can have been laid.
    pub laid: Option<Instant>,
    /// Since then, in minutes of elapsed time.
    pub age_minutes: Option<i64>,
    /// Whether the eggs are held: all of them, or some may be.
    pub held: Option<Share>,
    /// Which rules, from which sources.
    pub why: Vec<Reason>,
    /// What a careful person would add.
    pub caution: String,
}

/// What stands where, and what is due, at one moment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Now {
    /// The moment.
    pub at: Instant,
    /// The name of the rule pack in force; nothing where the farm chose none.
    pub rules: Option<String>,
    /// What stands where, station by station, the oldest first.
    pub here: Vec<Here>,
    /// What is due, the earliest first; what has no moment last.
    pub due: Vec<Due>,
    /// What a careful person would add to all of it.
    pub caution: String,
}

/// What stands where and what is due.
pub fn now(desk: &Desk, at: Instant) -> Now {
    let here = here(desk, at);
    let mut due = Vec::new();
    for stands in &here {
        eggs::due(desk, stands, at, &mut due);
    }
    tools::holds(desk, at, &mut due);
    tools::brush(desk, &mut due);
    tools::coolers(desk, &mut due);
    for line in &mut due {
        line.overdue = line.due.is_some_and(|due| due <= at);
    }
    due.sort_by_key(order);
    let pack = desk.setting.pack.as_ref();
    Now {
        at,
        rules: pack.map(|pack| format!("{} ({})", pack.name, pack.edition)),
        here,
        due,
        caution: pack.map_or(crate::trade::LOCAL_CODES_DECIDE.into(), |p| {
            p.caution.clone()
        }),
    }
}

fn order(due: &Due) -> impl Ord + use<> {
    let last = due.due.is_none();
    (last, due.due, due.what, due.place, due.lot, due.run)
}

impl Due {
    fn of(what: What, due: Option<Instant>, why: Vec<Reason>, caution: &str) -> Due {
        Due {
            what,
            due,
            overdue: false,
            place: None,
            species: None,
            lot: None,
            run: None,
            code: None,
            name: None,
            eggs: 0,
            cartons: 0,
            laid: None,
            age_minutes: None,
            held: None,
            why,
            caution: caution.into(),
        }
    }

    fn about(mut self, stands: &Here) -> Due {
        self.place = Some(stands.place);
        self.species = Some(stands.species);
        self.lot = stands.lot;
        self.run = stands.run;
        self.code = stands.code.clone();
        self.eggs = stands.eggs;
        self.cartons = stands.cartons;
        self.laid = Some(stands.laid);
        self.age_minutes = Some(stands.age_minutes);
        self.held = stands.held;
        self
    }
}
