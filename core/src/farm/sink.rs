use serde::{Deserialize, Serialize};

use super::take::Chosen;
use super::{ErrorKind, Farm, FarmError};
use crate::record::InvalidRecord;
use crate::trade::basin::{Basin, BasinUse};
use crate::trade::rules::Permission;
use crate::trade::units::{Celsius, Grams, Litres, Minutes, Range};
use crate::trade::wash::{Water, WaterWindow, wash_advice};
use crate::trade::{Finding, Means, Reason, Species, TradeError, WashDone, WashFault, check_wash};

/// Heat lost from a bowl of 35 cm, W per °C of difference; see [`Basin::loss`].
const BOWL_LOSS: f64 = 4.0;

/// What stands at the sink. What was not measured is left out, never zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sink {
    /// Whose eggs.
    pub species: Species,
    /// With what they are cleaned.
    pub means: Means,
    /// The inside temperature of the eggs, °C.
    pub egg_c: f64,
    /// The water now, °C.
    pub water_c: Option<f64>,
    /// The water at the end, °C.
    pub water_end_c: Option<f64>,
    /// The rinse, °C.
    pub rinse_c: Option<f64>,
    /// The sanitiser, ppm of available chlorine.
    pub sanitiser_ppm: Option<f64>,
    /// How long an egg is in the water, minutes.
    pub minutes: Option<f64>,
    /// Whether the sink was cleaned first.
    pub sink_cleaned: Option<bool>,
    /// The basin, where it is asked how many eggs it takes.
    pub bowl: Option<Bowl>,
}

/// A basin of water, and the eggs that go through it one after the other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Bowl {
    /// How much water, L.
    pub litres: f64,
    /// The room, °C.
    pub room_c: f64,
    /// Minutes for each egg.
    pub each: f64,
    /// The mean weight of an egg, g.
    pub grams: f64,
}

/// How the water stands beside its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within it.
    Right,
    /// Too cold: it draws germs through the shell.
    Cold,
    /// So hot that shells crack.
    Hot,
    /// Nobody measured the water, or there is no window to hold it against.
    Unknown,
}

/// What is right at the sink, whether the water is, and what is wrong with how it is done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SinkAdvice {
    /// The name of the rule pack in force.
    pub rules: String,
    /// Whether washing is open at all.
    pub permission: Permission,
    /// The temperatures that the water may have; nothing where washing is not open, the eggs are too
    /// cold, or one has to be measured first.
    pub window: Option<WaterWindow>,
    /// The eggs are too cold for any water: to what they have to warm first.
    pub temper: Option<Celsius>,
    /// The water now beside its window.
    pub verdict: Verdict,
    /// How many eggs the basin takes; only where one was given and its water is right.
    pub capacity: Option<BasinUse>,
    /// What is not as it should be.
    pub faults: Vec<Finding<WashFault>>,
    /// Which rules, from which sources.
    pub why: Vec<Reason>,
    /// What a careful person would add.
    pub caution: String,
}

impl Farm {
    /// What the water has to be for these eggs, and what is wrong with how they are cleaned, under
    /// the farm's rules; nothing where it chose none. Reads only: a wash is logged by [`Farm::log`].
    ///
    /// # Errors
    /// [`ErrorKind::Invalid`] for measurements that cannot be.
    pub fn sink(&self, sink: &Sink) -> Result<Option<SinkAdvice>, FarmError> {
        let setting = self.lock().store.read::<_, FarmError>(|tx| {
            let chosen: Chosen = tx.meta("setting")?.unwrap_or_default();
            Ok(chosen.setting())
        })?;
        let Some(pack) = setting.pack else {
            return Ok(None);
        };
        let egg = Celsius(sink.egg_c);
        let advice = wash_advice(sink.species, Range::exact(egg), &pack, &setting.house);
        let advice = advice.map_err(wrong)?;
        let faults = check_wash(&done(sink), &pack, &setting.house).map_err(wrong)?;
        let mut found = SinkAdvice {
            rules: pack.name.clone(),
            permission: advice.value.permission,
            window: None,
            temper: None,
            verdict: Verdict::Unknown,
            capacity: None,
            faults,
            why: advice.why,
            caution: advice.caution,
        };
        match advice.value.water {
            Some(Water::Window(right)) => {
                found.window = Some(right);
                if let Some(water) = sink.water_c {
                    found.verdict = judge(&right, Celsius(water));
                }
                if found.verdict == Verdict::Right
                    && let Some(basin) = basin(sink)
                {
                    let takes = basin.capacity(&right, &pack).map_err(wrong)?;
                    found.capacity = Some(takes.value);
                    found.why.extend(takes.why);
                }
            }
            Some(Water::TemperFirst(to)) => found.temper = Some(to),
            Some(Water::MeasureFirst) | None => {}
        }
        Ok(Some(found))
    }
}

fn basin(sink: &Sink) -> Option<Basin> {
    let bowl = sink.bowl?;
    Some(Basin {
        water: Litres(bowl.litres),
        start: Celsius(sink.water_c?),
        room: Celsius(bowl.room_c),
        loss: BOWL_LOSS,
        species: sink.species,
        egg_mass: Grams(bowl.grams),
        egg: Celsius(sink.egg_c),
        each: Minutes(bowl.each),
    })
}

fn done(sink: &Sink) -> WashDone {
    WashDone {
        egg: Some(Celsius(sink.egg_c)),
        water_start: sink.water_c.map(Celsius),
        water_end: sink.water_end_c.map(Celsius),
        rinse: sink.rinse_c.map(Celsius),
        sanitiser_ppm: sink.sanitiser_ppm,
        in_water: sink.minutes.map(Minutes),
        sink_cleaned_first: sink.sink_cleaned,
        ..WashDone::with(sink.species, sink.means)
    }
}

fn judge(right: &WaterWindow, water: Celsius) -> Verdict {
    if right.contains(water) {
        Verdict::Right
    } else if water.0 < right.low.0 {
        Verdict::Cold
    } else {
        Verdict::Hot
    }
}

/// An error of the trade, with the field to blame where it names one.
fn wrong(e: TradeError) -> FarmError {
    match e {
        TradeError::OutOfRange {
            field,
            value,
            low,
            high,
            unit,
        } => {
            let allowed = format!("allowed are {low} to {high} {unit}");
            InvalidRecord::new(field, format!("{value} {unit}"), allowed).into()
        }
        e => FarmError::new(ErrorKind::Invalid, e.to_string()),
    }
}
