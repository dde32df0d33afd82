use std::collections::HashMap;

use pointdown_core::book::span;

use super::{Days, Species};
use crate::mirror::{Mirror, mirror_record};

mirror_record! {
    /// A span of days.
    Span of span::Span {
        /// Each day from the first on that anything is known of a flock, in order.
        by_day: Vec<SpanDay>,
        /// Each flock over the whole span.
        laying: Vec<Laying>,
        /// All flocks of a species over the whole span; nobody's coop.
        laying_by_species: Vec<Laying>,
        /// The eggs that were weighed, by species, and by coop where the coop is known.
        weights: Vec<Weighed>,
        /// What a careful person would add.
        caution: String,
    }
}

mirror_record! {
    /// One farm day.
    SpanDay of span::SpanDay {
        /// The day.
        day: String,
        /// Eggs of all flocks with a gather; nothing where no flock had one: unknown, not zero.
        eggs: Option<i64>,
        /// Each flock that was there.
        flocks: Vec<FlockDay>,
        /// Mean weight by species of the eggs that were weighed on the day, g.
        mean_grams: HashMap<Species, f64>,
    }
}

mirror_record! {
    /// One flock on one farm day.
    FlockDay of span::FlockDay {
        /// The coop's id.
        coop: String,
        /// Its name.
        name: String,
        /// Whose eggs.
        species: Species,
        /// Eggs gathered; nothing where no round was logged: unknown, not zero.
        eggs: Option<i64>,
        /// Gather records.
        rounds: i64,
        /// Birds by the last headcount up to the day; nothing before the first.
        birds: Option<u32>,
        /// Eggs per hundred birds; nothing where either is unknown or there is no bird.
        hen_day_percent: Option<f64>,
    }
}

mirror_record! {
    /// How a flock laid over the span.
    Laying of span::Laying {
        /// The coop's id; nothing for all flocks of a species.
        coop: Option<String>,
        /// Its name, or `all coops`.
        name: String,
        /// Whose eggs.
        species: Species,
        /// Eggs of the known days; nothing where no day is known.
        eggs: Option<i64>,
        /// Days known and unknown; of several flocks, the days of each.
        days: Days,
        /// Birds alive, summed over the days that have a gather and a headcount.
        hen_days: u64,
        /// Eggs of these days.
        eggs_of_hen_days: i64,
        /// Known days that are left out of the rate, since no headcount came before them.
        days_without_birds: u32,
        /// Eggs per hundred birds alive and day. Nothing without a hen-day.
        hen_day_percent: Option<f64>,
    }
}

mirror_record! {
    /// Eggs that were weighed.
    Weighed of span::Weighed {
        /// The coop's id, where every lot counted here names it.
        coop: Option<String>,
        /// Its name, or `all coops`.
        name: String,
        /// Whose eggs.
        species: Species,
        /// How many.
        eggs: u64,
        /// Their mean weight, g, to the hundredth.
        mean_grams: f64,
        /// The lightest, g.
        least_grams: f64,
        /// The heaviest, g.
        most_grams: f64,
        /// Each egg by itself in the classes of each scheme; empty where no scheme knows the species.
        classes: Vec<Classes>,
    }
}

mirror_record! {
    /// Eggs in the classes of one scheme.
    Classes of span::Classes {
        /// The scheme's word, for example `us`.
        scheme: String,
        /// Eggs by the class whose least weight they reach, heaviest first.
        counts: Vec<ClassCount>,
        /// Eggs under the lightest class.
        under: u64,
        /// Where the classes come from.
        source: String,
    }
}

/// Eggs of a class.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ClassCount {
    /// The class.
    pub class: String,
    /// How many.
    pub eggs: u64,
}

impl Mirror<ClassCount> for (String, usize) {
    fn mirror(self) -> ClassCount {
        ClassCount {
            class: self.0,
            eggs: self.1.mirror(),
        }
    }
}
