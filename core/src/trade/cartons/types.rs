use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::trade::Species;
use crate::trade::units::Grams;

/// One weighed egg.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Egg {
    /// What the caller knows the egg by; used once only.
    pub tag: u64,
    /// The bird it is from.
    pub species: Species,
    /// Its weight.
    pub weight: Grams,
    /// The farm day on which it was laid, if known.
    pub lay_day: Option<NaiveDate>,
}

/// What one size class asks for, as the caller read it from a rule pack.
///
/// A carton may come out just at its minimum net weight. Eggs lose weight as they age and scales
/// differ, so a packer who wants room to spare adds it to `net_per_dozen`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClassLimits {
    /// The name of the class, for example `Extra Large`.
    pub name: String,
    /// Its word for records and labels, for example `extra_large`; `None` if there is no class.
    pub code: Option<String>,
    /// The only species that the class is for; `None` for any.
    pub species: Option<Species>,
    /// The least weight of a single egg; an egg of just this weight is in.
    pub single_min: Option<Grams>,
    /// The weight that a single egg must stay under; an egg of just this weight is out.
    pub single_below: Option<Grams>,
    /// The least net weight of twelve eggs; other counts in proportion.
    pub net_per_dozen: Option<Grams>,
}

impl ClassLimits {
    /// No limits at all: cartons by count, with no class on the label.
    pub fn by_count(name: impl Into<String>, species: Option<Species>) -> ClassLimits {
        ClassLimits {
            name: name.into(),
            code: None,
            species,
            single_min: None,
            single_below: None,
            net_per_dozen: None,
        }
    }
}

/// How old an egg may be when it is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Freshness {
    /// The farm day of packing.
    pub pack_day: NaiveDate,
    /// The most days between the lay day and the pack day.
    pub max_age_days: u32,
}

/// What a plan keeps to beside the classes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Terms {
    /// How old an egg may be; `None` for any age.
    pub freshness: Option<Freshness>,
    /// The most days between the lay days of two eggs in one carton; `None` for any.
    pub ages_apart_max: Option<u32>,
    /// Whether eggs that a class leaves over are offered to the next lighter class that takes them.
    /// A class with an upper limit takes none that reach it.
    pub step_down: bool,
}

/// The carton sizes at hand, each once, the largest first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Capacities(Vec<u16>);

impl Capacities {
    /// The sizes of the trade that this program knows.
    pub const STANDARD: [u16; 5] = [6, 10, 12, 18, 30];

    /// Carton sizes among [`Capacities::STANDARD`].
    ///
    /// # Errors
    /// [`CartonError::Capacity`] for another size, [`CartonError::NoCapacity`] for none.
    pub fn new(sizes: &[u16]) -> Result<Capacities, CartonError> {
        match sizes.iter().find(|size| !Self::STANDARD.contains(size)) {
            Some(&value) => Err(CartonError::Capacity {
                value,
                allowed: "6, 10, 12, 18 or 30",
            }),
            None => Self::of_any_size(sizes),
        }
    }

    /// Boxes of any size from 1 to 360 eggs, for trays and cases of one's own.
    ///
    /// # Errors
    /// As for [`Capacities::new`].
    pub fn of_any_size(sizes: &[u16]) -> Result<Capacities, CartonError> {
        let mut sizes = sizes.to_vec();
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        sizes.dedup();
        if let Some(&value) = sizes.iter().find(|size| !(1..=360).contains(*size)) {
            return Err(CartonError::Capacity {
                value,
                allowed: "1 to 360",
            });
        }
        if sizes.is_empty() {
            return Err(CartonError::NoCapacity);
        }
        Ok(Capacities(sizes))
    }

    /// The sizes, the largest first.
    pub fn sizes(&self) -> &[u16] {
        &self.0
    }
}

/// How good a packing is, in the order of the [module's objective](super).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Measure {
    /// Eggs in full cartons.
    pub packed: usize,
    /// Cartons.
    pub cartons: usize,
    /// The largest range within a carton.
    pub largest_range: Grams,
    /// The sum of the ranges.
    pub total_range: Grams,
}

/// How sure it is that no other packing is better.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "proof")]
pub enum Proof {
    /// Best of all: runs of neighbours in weight, by the exchange argument of the module.
    Runs,
    /// Best of all: every way of packing was searched.
    Searched,
    /// Legal and built with care, but a better one is not ruled out: the net weight makes light
    /// eggs stand beside heavy ones.
    Bound {
        /// No packing holds more eggs than this.
        most_eggs: usize,
        /// No packing of that many eggs uses fewer cartons than this.
        fewest_cartons: usize,
        /// In every packing of the eggs packed here, some carton has at least this range.
        least_range: Grams,
    },
}

/// Why an egg is not in a carton.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LeftOverReason {
    /// Under the single-egg minimum of every class.
    TooLight,
    /// At or over the upper limit, and in no other class.
    TooHeavy,
    /// Older than the limit on the pack day.
    TooOld,
    /// An age limit is set and the lay day is not known.
    UnknownAge,
    /// No class was given for this species.
    NoClass,
    /// Not enough eggs remain to fill one more carton.
    NotEnough,
    /// A carton with it would fall below its minimum net weight.
    NetWeight,
}

/// An egg that is in no carton.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeftOver {
    /// The egg.
    pub tag: u64,
    /// Why.
    pub reason: LeftOverReason,
    /// The class it was tried in, if it met one.
    pub class: Option<String>,
    /// Why, in words.
    pub why: String,
}

/// Input that cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CartonError {
    /// An egg's weight.
    #[error("weight of egg {tag} is {value} g; allowed is more than 0 and up to 1000 g")]
    Weight {
        /// The egg.
        tag: u64,
        /// What was given.
        value: f64,
    },
    /// The same tag on two eggs.
    #[error("tag is {tag} on more than one egg; allowed is each tag once")]
    Tag {
        /// The tag.
        tag: u64,
    },
    /// An egg from the future.
    #[error("lay_day of egg {tag} is {lay_day}; allowed is up to the pack day {pack_day}")]
    LayDay {
        /// The egg.
        tag: u64,
        /// What was given.
        lay_day: NaiveDate,
        /// The day of packing.
        pack_day: NaiveDate,
    },
    /// A limit of a class.
    #[error("{field} of class {class} is {value} g; allowed is {allowed}")]
    Limit {
        /// The class's name.
        class: String,
        /// The field.
        field: &'static str,
        /// What was given.
        value: f64,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A carton size.
    #[error("carton size is {value}; allowed is {allowed}")]
    Capacity {
        /// What was given.
        value: u16,
        /// What is allowed.
        allowed: &'static str,
    },
    /// No carton size at all.
    #[error("carton sizes is empty; allowed is at least one")]
    NoCapacity,
    /// No class at all.
    #[error("classes is empty; allowed is at least one")]
    NoClass,
    /// More eggs than one plan takes.
    #[error("count of eggs is {value}; allowed is up to {allowed}")]
    TooMany {
        /// What was given.
        value: usize,
        /// The most.
        allowed: usize,
    },
}
