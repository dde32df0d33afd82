use std::collections::HashMap;

use pointdown_core::book;

use super::{LotEggs, Place, Species};
use crate::mirror::mirror_record;

mirror_record! {
    /// The combined totals of one farm day, or of a span of days.
    Sheet of book::Sheet {
        /// First farm day.
        first = from: String,
        /// Last farm day.
        last = to: String,
        /// Eggs gathered.
        gathered: Gathered,
        /// Eggs pulled.
        pulled: Pulled,
        /// Eggs cleaned, by means.
        washed: HashMap<String, i64>,
        /// Eggs looked through, by quality found.
        candled: HashMap<String, i64>,
        /// Eggs packed.
        cartoned: Vec<Cartoned>,
        /// Eggs that left or came back.
        out: OutTotals,
        /// Eggs that recounts missed, by species; below zero where they found more than expected.
        unaccounted: HashMap<Species, i64>,
        /// Mean egg weight by species in grams, of the eggs that were weighed.
        mean_grams: HashMap<Species, f64>,
        /// Where eggs are at the end of the last day.
        on_hand: Vec<OnHand>,
    }
}

mirror_record! {
    /// Eggs gathered, divided in three ways.
    Gathered of book::Gathered {
        /// All of them.
        eggs: i64,
        /// Of these, eggs not laid in a nest.
        floor_laid: i64,
        /// By coop and species; flocks that nobody gathered from are listed too.
        by_coop: Vec<CoopRow>,
        /// By species.
        by_species: HashMap<Species, i64>,
        /// By the person's name.
        by_person: HashMap<String, i64>,
    }
}

mirror_record! {
    /// One flock's row.
    CoopRow of book::CoopRow {
        /// The coop's id.
        coop: String,
        /// Its name.
        name: String,
        /// Whose eggs.
        species: Species,
        /// Eggs gathered; nothing where no round was logged on any of the days: unknown, not zero.
        eggs: Option<i64>,
        /// Of these, eggs not laid in a nest.
        floor_laid: i64,
        /// Gather records.
        rounds: i64,
        /// How many of the days are known.
        days: Days,
    }
}

mirror_record! {
    /// Days with a gather against days that nobody knows about.
    #[derive(Copy, Eq)]
    Days of book::Days {
        /// Days with at least one round.
        known: u32,
        /// Of these, days on which no egg was found.
        zero: u32,
        /// Days without any round: unknown, not zero.
        unknown: u32,
    }
}

mirror_record! {
    /// Eggs pulled, divided in two ways.
    Pulled of book::Pulled {
        /// All of them.
        eggs: i64,
        /// By reason.
        by_reason: HashMap<String, i64>,
        /// By what became of them.
        by_use: HashMap<String, i64>,
    }
}

mirror_record! {
    /// Cartons of one species, size and capacity.
    Cartoned of book::Cartoned {
        /// Whose eggs.
        species: Species,
        /// Weight class, empty where none was given.
        size: String,
        /// Eggs in each carton.
        eggs_per_carton: u32,
        /// Cartons.
        cartons: i64,
        /// Eggs in them.
        eggs: i64,
    }
}

mirror_record! {
    /// Eggs that left or came back.
    OutTotals of book::Out {
        /// Eggs by way: sold, given, eaten, returned.
        eggs: HashMap<String, i64>,
        /// Cartons by way.
        cartons: HashMap<String, i64>,
    }
}

mirror_record! {
    /// Eggs of one species at one station.
    OnHand of book::OnHand {
        /// Where.
        station: Place,
        /// Whose eggs.
        species: Species,
        /// How many; below zero where more left than ever came (an overdraw).
        eggs: i64,
        /// The lots that they are of.
        lots: Vec<LotEggs>,
    }
}
