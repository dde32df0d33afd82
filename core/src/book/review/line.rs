use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::Value;

use super::super::Place;
use crate::mutants::mutant;
use crate::record::{Decision, Id, Instant, Lot};
use crate::trade::Species;

/// How pressing a line is. The list shows the most pressing first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// Someone may eat what they should not: decide now.
    Urgent,
    /// Totals are wrong until someone decides.
    Soon,
    /// Worth knowing.
    Note,
}

/// What a line is about.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum What {
    /// Eggs of a held coop or day are in cartons, on the shelf or gone.
    HeldEggs {
        /// Cartons still here, by run.
        on_shelf: BTreeMap<Id, u32>,
        /// Cartons and loose eggs that left: the record of the out, and to whom.
        gone: BTreeMap<Id, String>,
        /// Whether the eggs are certainly of the held flock, or pooled with others of that day.
        certain: bool,
    },
    /// More eggs left a station than ever reached it.
    Overdraw {
        /// Where.
        place: Place,
        /// Which lot.
        lot: Lot,
        /// How many eggs too many left.
        eggs: i64,
    },
    /// Two people logged what may be the same round, neither having seen the other's record.
    DoubleLog {
        /// Eggs in the one and in the other.
        counts: (u32, u32),
    },
    /// Two records that may be the same round were both voided, by people who did not see it.
    BothVoided,
    /// Two people amended one field apart from each other.
    Disagreement {
        /// The field.
        field: String,
        /// Each value, by the amendment that says so.
        said: BTreeMap<Id, Value>,
    },
    /// One person amended a record while another voided it.
    AmendedAndVoided,
    /// Amendments that hold alone and do not hold together.
    DoesNotAddUp {
        /// What does not hold.
        problem: String,
    },
    /// Records dated by a clock that was off.
    ClockOff {
        /// Seconds to add to mend the times.
        shift_s: i64,
    },
    /// A record with a time that cannot be.
    Misdated {
        /// How so.
        how: Misdating,
        /// The record that it cannot come before, where there is one.
        #[serde(skip_serializing_if = "Option::is_none")]
        cause: Option<Id>,
    },
    /// A recount was held against a book that has changed since: records from before it came later.
    CountOvertaken {
        /// Eggs really found.
        counted: u32,
        /// Eggs that the book expected when it was logged.
        then: i64,
        /// Eggs that the book expects at that moment now.
        now: i64,
    },
    /// A stocktake found another number of eggs than the book says.
    Stocktake {
        /// Who counted.
        #[serde(skip_serializing_if = "Option::is_none")]
        by: Option<Id>,
        /// Where.
        place: Place,
        /// Of which species.
        species: Species,
        /// Of which lot, where one was counted by itself.
        #[serde(skip_serializing_if = "Option::is_none")]
        lot: Option<Lot>,
        /// Eggs really found.
        counted: u32,
        /// Eggs that the book says.
        booked: i64,
        /// Counted less booked, by the lots that the difference was laid to.
        by_lot: BTreeMap<Lot, i64>,
    },
    /// Someone voided the farm's own record, which cannot be: its zone and rules hold on.
    FarmVoided {
        /// The reason that was given.
        why: String,
    },
    /// A record breaks a rule of the trade.
    Breach {
        /// The rule, as a stable word such as `washed_too_cold`.
        rule: String,
        /// What happened and what was due, in words with the source.
        why: String,
    },
    /// Two set-up records carry one name.
    SameName {
        /// The name.
        name: String,
    },
    /// A record of a coop after its last day of use.
    RetiredUse {
        /// The species gathered.
        species: Species,
    },
    /// A record of a newer version, or written by a foreign program, that cannot be read here.
    CannotRead {
        /// Why.
        why: String,
    },
}

/// How a record's time cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Misdating {
    /// It says that it happened after it was written down.
    Future,
    /// Cartons left before they were packed.
    BeforePacking,
    /// Eggs were handled before the day on which they were gathered.
    BeforeGathering,
}

/// What can be done about a line in one step. Each is carried out as records.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "choice", rename_all = "snake_case")]
pub enum Choice {
    /// Keep one of the values said: an amendment over all of them.
    Keep {
        /// The record.
        record: Id,
        /// The field.
        field: String,
        /// The value to keep.
        value: Value,
    },
    /// Void a record.
    Void {
        /// Which one.
        record: Id,
    },
    /// Take a void back, and with it every other void of the same record.
    Restore {
        /// The void.
        void: Id,
    },
    /// Both records are right.
    BothRight,
    /// Count the eggs of a lot at a station, and log that: the answer carries the number.
    Recount {
        /// Where.
        place: Place,
        /// Which lot.
        lot: Lot,
    },
    /// Count all eggs of a species at a station, and log that: the answer carries the number.
    RecountAll {
        /// Where.
        place: Place,
        /// Which species.
        species: Species,
    },
    /// Pull the held eggs that are still here out of the flow.
    PullHeld {
        /// The carton runs.
        cartons: Vec<Id>,
    },
    /// Move the times of records by so many seconds.
    Shift {
        /// Which records.
        records: Vec<Id>,
        /// By how much, seconds.
        by_s: i64,
    },
    /// Say that a coop, person, cooler or outlet is not used after today.
    Retire {
        /// Its record.
        record: Id,
    },
    /// Nothing is to be done; it was seen.
    Seen,
}

impl Choice {
    /// Whether the answer has to carry a number that someone counted.
    pub fn wants_count(&self) -> bool {
        matches!(self, Choice::Recount { .. } | Choice::RecountAll { .. })
    }
}

/// One line of the list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// The name of the line: the same on every phone, and the same while its cause lasts.
    pub line: String,
    /// How it stands. A line that was seen comes back when this changes.
    pub state: String,
    /// What it is about.
    pub what: What,
    /// How pressing it is.
    pub weight: Weight,
    /// Since when.
    pub since: Instant,
    /// Everyone concerned.
    pub people: Vec<Id>,
    /// The records behind it.
    pub records: Vec<Id>,
    /// What can be done.
    pub choices: Vec<Choice>,
}

impl Finding {
    /// A short name to say and type, such as `7hk2-9d`: four characters for the line, two for how it
    /// stands and what can be done. A line that changed in any way goes by another name, so that
    /// nobody answers a question that was never put.
    pub fn tag(&self) -> String {
        let choices = serde_json::to_string(&self.choices).unwrap_or_default();
        let stands = format!("{} {choices}", self.state);
        format!("{}-{}", letters(&self.line, 4), letters(&stands, 2))
    }

    pub(super) fn new(line: String, what: What, weight: Weight, since: Instant) -> Finding {
        Finding {
            line,
            state: String::new(),
            what,
            weight,
            since,
            people: Vec::new(),
            records: Vec::new(),
            choices: Vec::new(),
        }
    }

    pub(super) fn state(mut self, state: impl Into<String>) -> Finding {
        // A decision keeps the state as a field of at most 120 characters, and never an empty one.
        let state: String = state.into();
        self.state = if state.is_empty() { "-".into() } else { state };
        self
    }

    pub(super) fn about(
        mut self,
        records: impl IntoIterator<Item = Id>,
        people: impl IntoIterator<Item = Option<Id>>,
    ) -> Finding {
        self.records = records.into_iter().collect();
        self.people = people.into_iter().flatten().collect();
        self.people.sort();
        self.people.dedup();
        self
    }

    pub(super) fn choices(mut self, choices: impl IntoIterator<Item = Choice>) -> Finding {
        self.choices = choices.into_iter().collect();
        self
    }
}

/// A fingerprint (FNV-1a, 64 bits).
pub(super) fn fingerprint(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325u64, |h, b| {
        (h ^ u64::from(b)).wrapping_mul(0x100_0000_01b3)
    })
}

/// A fingerprint in letters and digits that nobody mistakes for one another (Crockford's base 32).
fn letters(text: &str, many: u32) -> String {
    const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
    let hash = fingerprint(text);
    let hash = hash ^ hash >> 32;
    (0..many)
        .map(|n| char::from(LETTERS[(hash >> (5 * n)) as usize & 31]))
        .collect()
}

/// The lines that nobody decided as they stand now, in the order of the list.
pub fn undecided(findings: Vec<Finding>, decisions: &[Decision]) -> Vec<Finding> {
    let mut open: Vec<Finding> = findings
        .into_iter()
        .filter(|f| {
            !decisions
                .iter()
                .any(|d| d.line == f.line && (d.state == f.state || mutant("decision_for_good")))
        })
        .collect();
    open.sort_by(|a, b| (a.weight, b.since, &a.line).cmp(&(b.weight, a.since, &b.line)));
    open
}
