use pointdown_core::farm;
use pointdown_core::trade::{self, basin, units, wash};

use super::{FaultOfWash, Means, Permission, Reason, Species, Verdict};
use crate::mirror::{Mirror, mirror_record};

impl Mirror<f64> for units::Celsius {
    fn mirror(self) -> f64 {
        self.0
    }
}

impl Mirror<f64> for units::Minutes {
    fn mirror(self) -> f64 {
        self.0
    }
}

/// What stands at the sink. What was not measured is left out, never zero.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Sink {
    /// Whose eggs.
    pub species: Species,
    /// With what they are cleaned.
    pub means: Means,
    /// The inside temperature of the eggs, -5 to 50 °C.
    pub egg_c: f64,
    /// The water now, 0 to 100 °C.
    #[uniffi(default = None)]
    pub water_c: Option<f64>,
    /// The water at the end, 0 to 100 °C.
    #[uniffi(default = None)]
    pub water_end_c: Option<f64>,
    /// The rinse, 0 to 100 °C.
    #[uniffi(default = None)]
    pub rinse_c: Option<f64>,
    /// The sanitiser, ppm of available chlorine.
    #[uniffi(default = None)]
    pub sanitiser_ppm: Option<f64>,
    /// How long an egg is in the water, minutes.
    #[uniffi(default = None)]
    pub minutes: Option<f64>,
    /// Whether the sink was cleaned first.
    #[uniffi(default = None)]
    pub sink_cleaned: Option<bool>,
    /// The basin, where it is asked how many eggs it takes.
    #[uniffi(default = None)]
    pub bowl: Option<Bowl>,
}

/// A basin of water, and the eggs that go through it one after the other.
#[derive(Debug, Clone, Copy, PartialEq, uniffi::Record)]
pub struct Bowl {
    /// How much water, L.
    pub litres: f64,
    /// The room, °C.
    pub room_c: f64,
    /// Minutes for each egg.
    pub each_minutes: f64,
    /// The mean weight of an egg, g.
    pub egg_grams: f64,
}

impl From<Sink> for farm::Sink {
    fn from(sink: Sink) -> farm::Sink {
        farm::Sink {
            species: sink.species.into(),
            means: sink.means.into(),
            egg_c: sink.egg_c,
            water_c: sink.water_c,
            water_end_c: sink.water_end_c,
            rinse_c: sink.rinse_c,
            sanitiser_ppm: sink.sanitiser_ppm,
            minutes: sink.minutes,
            sink_cleaned: sink.sink_cleaned,
            bowl: sink.bowl.map(|bowl| farm::Bowl {
                litres: bowl.litres,
                room_c: bowl.room_c,
                each: bowl.each_minutes,
                grams: bowl.egg_grams,
            }),
        }
    }
}

mirror_record! {
    /// What is right at the sink, whether the water is, and what is wrong with how it is done.
    SinkAdvice of farm::SinkAdvice {
        /// The name of the rule pack in force.
        rules: String,
        /// Whether washing is open at all.
        permission: Permission,
        /// The temperatures that the water may have; nothing where washing is not open, the eggs are
        /// too cold, or one has to be measured first.
        window: Option<WaterWindow>,
        /// The eggs are too cold for any water: to what they have to warm first, °C.
        temper_c = temper: Option<f64>,
        /// The water now beside its window.
        verdict: Verdict,
        /// How many eggs the basin takes; only where one was given and its water is right.
        capacity: Option<BowlUse>,
        /// What is not as it should be.
        faults: Vec<WashFault>,
        /// Which rules, from which sources.
        why: Vec<Reason>,
        /// What a careful person would add: show it.
        caution: String,
    }
}

mirror_record! {
    /// The temperatures that wash water may have.
    WaterWindow of wash::WaterWindow {
        /// The coldest, °C.
        low_c = low: f64,
        /// The hottest, °C, where the rules have a limit for cracks.
        high_c = high: Option<f64>,
    }
}

mirror_record! {
    /// What a basin can take.
    BowlUse of basin::BasinUse {
        /// How many eggs until the water is too cold; at most 10,000.
        eggs: u32,
        /// The water after them, °C.
        end_c = end: f64,
        /// How long that takes, one egg at a time, minutes.
        minutes = time: f64,
        /// Whether the age of the water ends it before its temperature does.
        ended_by_age: bool,
    }
}

/// Something that is not as it should be in a cleaning batch.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct WashFault {
    /// What.
    pub what: FaultOfWash,
    /// Which rules, from which sources.
    pub why: Vec<Reason>,
    /// What a careful person would add.
    pub caution: String,
}

impl Mirror<WashFault> for trade::Finding<trade::WashFault> {
    fn mirror(self) -> WashFault {
        WashFault {
            what: self.value.mirror(),
            why: self.why.mirror(),
            caution: self.caution,
        }
    }
}
