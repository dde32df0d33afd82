use std::collections::HashMap;

use pointdown_core::book::trends;
use pointdown_core::trade::rates;

use super::{Days, Species, Step};
use crate::mirror::mirror_record;

mirror_record! {
    /// How flocks laid over a span of farm days, step by step.
    Trends of trends::Trends {
        /// First farm day.
        first = from: String,
        /// Last farm day.
        last = to: String,
        /// How long each span is.
        step: Step,
        /// All coops together, by species; empty where one coop was asked for.
        species: Vec<Trend>,
        /// Each flock by itself, by coop and species.
        flocks: Vec<Trend>,
        /// The confidence of the intervals.
        confidence: f64,
        /// What a careful person would add.
        caution: String,
    }
}

mirror_record! {
    /// One flock, or all birds of one species, over the spans.
    Trend of trends::Trend {
        /// The coop's id; nothing for all coops together.
        coop: Option<String>,
        /// The coop's name, or `all coops`.
        name: String,
        /// Whose eggs.
        species: Species,
        /// The spans in order, those that are unknown too.
        spans: Vec<TrendSpan>,
        /// The last span with a rate against the one before it.
        changes: Vec<Comparison>,
        /// The watch for a drop over the last two weeks; for flocks only.
        watch: Option<Watch>,
    }
}

mirror_record! {
    /// One day, week, month or year, as far as it was asked for.
    TrendSpan of trends::TrendSpan {
        /// By ISO 8601: `2026-11-25`, `2026-W48`, `2026-11` or `2026`.
        label: String,
        /// First farm day.
        first = from: String,
        /// Last farm day.
        last = to: String,
        /// Days known and unknown; of several flocks, the days of each.
        days: Days,
        /// Known days that follow an unknown one: the eggs of both may be in the count.
        after_gap: u32,
        /// Eggs gathered; nothing where no day is known.
        eggs: Option<i64>,
        /// Of these, eggs not laid in a nest.
        floor_laid: i64,
        /// How the birds laid; nothing without a day that has both a gather and a headcount.
        rate: Option<Rate>,
        /// Eggs pulled on these days, by reason.
        pulled: HashMap<String, i64>,
    }
}

mirror_record! {
    /// Eggs per hen and day.
    Rate of trends::Rate {
        /// Eggs of the days that count here.
        eggs: u64,
        /// Hens alive, summed over these days.
        hen_days: u64,
        /// The one over the other.
        per_hen_day: f64,
        /// Its Wilson interval.
        interval: Option<Interval>,
    }
}

mirror_record! {
    /// Two ends of a range, as shares.
    Interval of rates::Interval {
        /// The lower end.
        low: f64,
        /// The upper end.
        high: f64,
    }
}

mirror_record! {
    /// Two shares held against each other.
    Comparison of rates::Comparison {
        /// What is compared.
        name: String,
        /// The first share less the second.
        difference: f64,
        /// A 95 % interval for the difference.
        interval: Interval,
        /// The chance of so great a difference, or a greater one, if there is none.
        p_value: f64,
        /// Whether the chance is under the level asked for.
        more_than_luck: bool,
        /// The comparison in words.
        why: String,
    }
}

mirror_record! {
    /// Whether a flock lays less than it used to, by more than its daily scatter explains.
    Watch of trends::Watch {
        /// Whether the alarm is raised; nothing where too little is known to say.
        alarm: Option<bool>,
        /// The day on which the drop, if it is one, is likeliest to have begun.
        since: Option<String>,
        /// What the answer rests on, and what to look at first.
        why: Vec<String>,
        /// What a careful person would add.
        caution: String,
    }
}
