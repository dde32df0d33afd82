use std::collections::BTreeMap;

use pointdown_core::book::review;
use pointdown_core::record::Id;

use super::LotEggs;
use super::{Misdating, Place, Said, Species, Weight};
use crate::mirror::Mirror;

/// One line of the review list.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Finding {
    /// A short name to show and to answer by, such as `7hk2-9d`; it changes whenever the line does.
    pub tag: String,
    /// The name of the line, the same on every phone and while its cause lasts.
    pub line: String,
    /// What it is about.
    pub what: What,
    /// How pressing it is.
    pub weight: Weight,
    /// Since when.
    pub since_ms: i64,
    /// Everyone concerned, by id.
    pub people: Vec<String>,
    /// The records behind it.
    pub records: Vec<String>,
    /// What can be done, in the order in which to show it.
    pub choices: Vec<Choice>,
}

impl Mirror<Finding> for review::Finding {
    fn mirror(self) -> Finding {
        Finding {
            tag: self.tag(),
            line: self.line,
            what: self.what.mirror(),
            weight: self.weight.mirror(),
            since_ms: self.since.ms(),
            people: self.people.mirror(),
            records: self.records.mirror(),
            choices: self.choices.mirror(),
        }
    }
}

/// Cartons of a run.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct RunCartons {
    /// The run.
    pub run: String,
    /// How many.
    pub cartons: u32,
}

/// Something that left, and to whom.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct GoneTo {
    /// The record of the out.
    pub record: String,
    /// To whom.
    pub who: String,
}

/// What a line is about.
#[derive(Debug, Clone, PartialEq, uniffi::Enum)]
pub enum What {
    /// Eggs of a held coop or day are in cartons, on the shelf or gone.
    HeldEggs {
        /// Cartons still here, by run.
        on_shelf: Vec<RunCartons>,
        /// Cartons and loose eggs that left.
        gone: Vec<GoneTo>,
        /// Whether the eggs are certainly of the held flock, or pooled with others of that day.
        certain: bool,
    },
    /// More eggs left a station than ever reached it.
    Overdraw {
        /// Where.
        place: Place,
        /// Which lot.
        lot: String,
        /// How many eggs too many left.
        eggs: i64,
    },
    /// Two people logged what may be the same round, neither having seen the other's record.
    DoubleLog {
        /// Eggs in the one.
        one: u32,
        /// Eggs in the other.
        other: u32,
    },
    /// Two records that may be the same round were both voided, by people who did not see it.
    BothVoided,
    /// Two people amended one field apart from each other.
    Disagreement {
        /// The field.
        field: String,
        /// Each value, by the amendment that says so.
        said: Vec<Said>,
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
        cause: Option<String>,
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
    /// A stocktake found another number than the book says.
    Stocktake {
        /// Who counted.
        by: Option<String>,
        /// Where.
        place: Place,
        /// Of which species.
        species: Species,
        /// Of which lot, where one was counted by itself.
        lot: Option<String>,
        /// Eggs really found.
        counted: u32,
        /// Eggs that the book says.
        booked: i64,
        /// Counted less booked, by the lots that the difference was laid to.
        by_lot: Vec<LotEggs>,
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

impl Mirror<What> for review::What {
    fn mirror(self) -> What {
        use review::What as From;
        match self {
            From::HeldEggs {
                on_shelf,
                gone,
                certain,
            } => What::HeldEggs {
                on_shelf: runs(on_shelf),
                gone: gone_to(gone),
                certain,
            },
            From::Overdraw { place, lot, eggs } => What::Overdraw {
                place: place.mirror(),
                lot: lot.mirror(),
                eggs,
            },
            From::DoubleLog {
                counts: (one, other),
            } => What::DoubleLog { one, other },
            From::BothVoided => What::BothVoided,
            From::Disagreement { field, said } => What::Disagreement {
                field,
                said: said.into_iter().map(Mirror::mirror).collect(),
            },
            From::AmendedAndVoided => What::AmendedAndVoided,
            From::DoesNotAddUp { problem } => What::DoesNotAddUp { problem },
            From::ClockOff { shift_s } => What::ClockOff { shift_s },
            From::Misdated { how, cause } => What::Misdated {
                how: how.mirror(),
                cause: cause.mirror(),
            },
            From::CountOvertaken { counted, then, now } => {
                What::CountOvertaken { counted, then, now }
            }
            From::Stocktake {
                by,
                place,
                species,
                lot,
                counted,
                booked,
                by_lot,
            } => What::Stocktake {
                by: by.mirror(),
                place: place.mirror(),
                species: species.mirror(),
                lot: lot.mirror(),
                counted,
                booked,
                by_lot: by_lot.mirror(),
            },
            From::FarmVoided { why } => What::FarmVoided { why },
            From::Breach { rule, why } => What::Breach { rule, why },
            From::SameName { name } => What::SameName { name },
            From::RetiredUse { species } => What::RetiredUse {
                species: species.mirror(),
            },
            From::CannotRead { why } => What::CannotRead { why },
        }
    }
}

fn runs(all: BTreeMap<Id, u32>) -> Vec<RunCartons> {
    let one = |(run, cartons): (Id, u32)| RunCartons {
        run: run.to_string(),
        cartons,
    };
    all.into_iter().map(one).collect()
}

fn gone_to(all: BTreeMap<Id, String>) -> Vec<GoneTo> {
    let one = |(record, who): (Id, String)| GoneTo {
        record: record.to_string(),
        who,
    };
    all.into_iter().map(one).collect()
}

/// What can be done about a line in one step. Each is carried out as records.
#[derive(Debug, Clone, PartialEq, uniffi::Enum)]
pub enum Choice {
    /// Keep one of the values said.
    Keep {
        /// The record.
        record: String,
        /// The field.
        field: String,
        /// The value to keep, as JSON.
        value_json: String,
    },
    /// Void a record.
    Void {
        /// Which one.
        record: String,
    },
    /// Take a void back, and with it every other void of the same record.
    Restore {
        /// The void.
        void: String,
    },
    /// Both records are right.
    BothRight,
    /// Count the eggs of a lot at a station: the answer carries the number.
    Recount {
        /// Where.
        place: Place,
        /// Which lot.
        lot: String,
    },
    /// Count all eggs of a species at a station: the answer carries the number.
    RecountAll {
        /// Where.
        place: Place,
        /// Which species.
        species: Species,
    },
    /// Pull the held eggs that are still here out of the flow.
    PullHeld {
        /// The carton runs.
        cartons: Vec<String>,
    },
    /// Move the times of records by so many seconds.
    Shift {
        /// Which records.
        records: Vec<String>,
        /// By how much, seconds.
        by_s: i64,
    },
    /// Say that a coop, person, cooler or outlet is not used after today.
    Retire {
        /// Its record.
        record: String,
    },
    /// Nothing is to be done; it was seen.
    Seen,
}

impl Mirror<Choice> for review::Choice {
    fn mirror(self) -> Choice {
        use review::Choice as From;
        match self {
            From::Keep {
                record,
                field,
                value,
            } => Choice::Keep {
                record: record.mirror(),
                field,
                value_json: value.to_string(),
            },
            From::Void { record } => Choice::Void {
                record: record.mirror(),
            },
            From::Restore { void } => Choice::Restore {
                void: void.mirror(),
            },
            From::BothRight => Choice::BothRight,
            From::Recount { place, lot } => Choice::Recount {
                place: place.mirror(),
                lot: lot.mirror(),
            },
            From::RecountAll { place, species } => Choice::RecountAll {
                place: place.mirror(),
                species: species.mirror(),
            },
            From::PullHeld { cartons } => Choice::PullHeld {
                cartons: cartons.mirror(),
            },
            From::Shift { records, by_s } => Choice::Shift {
                records: records.mirror(),
                by_s,
            },
            From::Retire { record } => Choice::Retire {
                record: record.mirror(),
            },
            From::Seen => Choice::Seen,
        }
    }
}
