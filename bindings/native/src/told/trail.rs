use std::collections::HashMap;

use pointdown_core::book::trace;
use pointdown_core::record;

use super::{Between, LotEggs, OutReached, Share, Species};
use crate::mirror::mirror_record;

mirror_record! {
    /// Everything that may be behind a run of cartons, and where it went.
    Trail of trace::Trail {
        /// The cartons.
        run: Run,
        /// The gathers that eggs of it may be from, the earliest first.
        rounds: Vec<Round>,
        /// Whether eggs may be in it that a count found and no gather explains.
        of_unknown_round: bool,
        /// The coops of these rounds, by name.
        coops: Vec<String>,
        /// Everyone who had eggs of it in hand, by name.
        people: Vec<String>,
        /// Cleaning batches that eggs of it may have gone through.
        washes: Vec<Washed>,
        /// Candlings that may have looked at eggs of it.
        candlings: Vec<Candled>,
        /// Holds on rounds that eggs of it may be from.
        holds: Vec<HoldBehind>,
        /// Readings of the coolers while cartons of it were here.
        readings: Vec<Cooled>,
        /// To whom cartons of it went.
        outs: Vec<OutReached>,
        /// Eggs left.
        left: Between,
        /// Lots whose records contradict one another; of them times and numbers were not used.
        contradicting: Vec<String>,
        /// How sure the answer is, in words.
        said: Vec<String>,
    }
}

mirror_record! {
    /// A run of cartons, for lists.
    Run of trace::Run {
        /// Its record.
        record: String,
        /// The code printed on the cartons, where one was logged.
        code: Option<String>,
        /// When they were packed.
        at_ms = at: i64,
        /// The day of packing on the label.
        packed: String,
        /// The date on the label.
        best_by: Option<String>,
        /// Who packed them.
        by: Option<String>,
        /// Whose eggs.
        species: Species,
        /// Weight class.
        size: Option<String>,
        /// Eggs in each carton.
        eggs_per_carton: u32,
        /// Cartons packed.
        cartons: u32,
        /// The lots in them, with eggs of each.
        lots: Vec<LotEggs>,
    }
}

mirror_record! {
    /// A gather behind a run.
    Round of trace::Round {
        /// The record.
        record: String,
        /// When.
        at_ms = at: i64,
        /// Who.
        by: Option<String>,
        /// The coop's name.
        coop: Option<String>,
        /// Whose eggs.
        species: Species,
        /// Eggs gathered.
        count: u32,
        /// How sure it is, of all eggs of the run.
        share: Share,
    }
}

mirror_record! {
    /// A cleaning batch behind a run.
    Washed of trace::Washed {
        /// The record.
        record: String,
        /// When.
        at_ms = at: i64,
        /// Who.
        by: Option<String>,
        /// With what, how warm, how strong.
        wash: WashDone,
        /// How sure it is, of all eggs of the run.
        share: Share,
    }
}

mirror_record! {
    /// How a batch was cleaned.
    WashDone of record::Wash {
        /// Which lots, how many eggs.
        parts: Vec<LotEggs>,
        /// With what.
        means: String,
        /// Cleaning compound, as on its label.
        cleaner: Option<String>,
        /// Egg temperature before, °C.
        egg_c: Option<f64>,
        /// Water at the start, °C.
        water_start_c: Option<f64>,
        /// Water at the end, °C.
        water_end_c: Option<f64>,
        /// Rinse water, °C.
        rinse_c: Option<f64>,
        /// Available chlorine or equivalent, ppm.
        sanitiser_ppm: Option<u32>,
        /// Minutes in the water.
        minutes: Option<f64>,
        /// Whether the sink was cleaned first.
        sink_cleaned: Option<bool>,
    }
}

mirror_record! {
    /// A candling that may have seen eggs of a run.
    Candled of trace::Candled {
        /// The record.
        record: String,
        /// When.
        at_ms = at: i64,
        /// Who.
        by: Option<String>,
        /// How many of each quality.
        found: HashMap<String, u32>,
        /// Deepest air cell measured, mm.
        air_cell_mm: Option<f64>,
        /// Whether it was before the packing.
        before_packing: bool,
    }
}

mirror_record! {
    /// A hold on rounds behind a run.
    HoldBehind of trace::HoldBehind {
        /// The record.
        record: String,
        /// Why.
        cause: String,
        /// Medicine or treatment.
        given: Option<String>,
        /// The coop's name; the whole farm where there is none.
        coop: Option<String>,
        /// First day held.
        first = from: String,
        /// Last day held.
        until: Option<String>,
        /// How sure it is, of all eggs of the run.
        share: Share,
    }
}

mirror_record! {
    /// A cooler reading.
    Cooled of trace::Cooled {
        /// The record.
        record: String,
        /// When.
        at_ms = at: i64,
        /// The cooler's name.
        cooler: Option<String>,
        /// Air, °C.
        air_c: f64,
        /// Whether that is warmer than the rule pack allows; nothing where it sets no limit.
        too_warm: Option<bool>,
    }
}
