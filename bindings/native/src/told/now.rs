use pointdown_core::book::due;

use super::{Place, Reason, Share, Species, Task};
use crate::mirror::mirror_record;

mirror_record! {
    /// What stands where, and what is due, at one moment.
    Now of due::Now {
        /// The moment.
        at_ms = at: i64,
        /// The name of the rule pack in force; nothing where the farm chose none.
        rules: Option<String>,
        /// What stands where, station by station, the oldest first.
        here: Vec<Here>,
        /// What is due, the earliest first; what has no moment last.
        due: Vec<Due>,
        /// What a careful person would add to all of it.
        caution: String,
    }
}

mirror_record! {
    /// Eggs that stand at a station: of one lot, or in the cartons of one run.
    Here of due::Here {
        /// Where.
        place: Place,
        /// Whose eggs.
        species: Species,
        /// The lot; nothing where a carton run has several.
        lot: Option<String>,
        /// The carton run.
        run: Option<String>,
        /// The code printed on the cartons, where one was logged.
        code: Option<String>,
        /// How many; of a carton run at most so many.
        eggs: i64,
        /// Cartons, at most; an open one counts.
        cartons: u32,
        /// The earliest moment at which one of them can have been laid.
        laid_ms = laid: i64,
        /// Since then, in minutes of elapsed time.
        age_minutes: i64,
        /// Whether they are held: all of them, or some may be.
        held: Option<Share>,
        /// The holds.
        holds: Vec<String>,
    }
}

mirror_record! {
    /// One thing that is due.
    Due of due::Due {
        /// What.
        what: Task,
        /// By when; nothing where no rule gives a moment.
        due_ms = due: Option<i64>,
        /// Whether that has passed.
        overdue: bool,
        /// Where the eggs are.
        place: Option<Place>,
        /// Whose eggs.
        species: Option<Species>,
        /// Which lot, unless cartons of several are meant.
        lot: Option<String>,
        /// Which carton run.
        run: Option<String>,
        /// The code printed on the cartons.
        code: Option<String>,
        /// The coop or cooler, by name.
        name: Option<String>,
        /// How many eggs; 0 where it is not about eggs.
        eggs: i64,
        /// Cartons, at most; 0 where it is not about cartons.
        cartons: u32,
        /// Since the earliest moment at which one of them can have been laid, in minutes.
        age_minutes: Option<i64>,
        /// Whether the eggs are held: all of them, or some may be.
        held: Option<Share>,
        /// Which rules, from which sources.
        why: Vec<Reason>,
        /// What a careful person would add.
        caution: String,
    }
}

mirror_record! {
    /// What to take next: never taken by itself.
    Suggestion of due::Suggestion {
        /// The station to take from.
        place: Place,
        /// Whose eggs.
        species: Species,
        /// What to take, in this order.
        take: Vec<Take>,
        /// Eggs in it.
        eggs: i64,
        /// Eggs asked for that are not there, or not to be touched.
        short: i64,
        /// What stands there and is not to be touched.
        not_to_touch: Vec<NotToTouch>,
        /// Why in this order.
        why: Vec<Reason>,
        /// What a careful person would add.
        caution: String,
    }
}

mirror_record! {
    /// Eggs to take.
    Take of due::Take {
        /// The lot, unless cartons of several are meant.
        lot: Option<String>,
        /// The carton run.
        run: Option<String>,
        /// The code printed on the cartons.
        code: Option<String>,
        /// How many eggs of it.
        eggs: i64,
        /// The earliest moment at which one of them can have been laid.
        laid_ms = laid: i64,
    }
}

mirror_record! {
    /// Held eggs.
    NotToTouch of due::NotToTouch {
        /// The lot, unless cartons of several are meant.
        lot: Option<String>,
        /// The carton run.
        run: Option<String>,
        /// How many eggs.
        eggs: i64,
        /// Whether all of them are held, or some may be.
        held: Share,
        /// The holds.
        holds: Vec<String>,
    }
}
