//! The sink, and what can be wrong with an egg: the trade's own answers.

use pointdown_core::farm::{ErrorKind, Farm, FarmError};
use pointdown_core::trade::basin::Basin;
use pointdown_core::trade::units::{Celsius, Grams, Litres, Minutes, Range};
use pointdown_core::trade::wash::{Water, WaterWindow, wash_advice};
use pointdown_core::trade::{Defect, Means, Species, TradeError, WashDone, check_wash};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::home::setting;

/// What stands at the sink.
#[derive(Deserialize)]
pub(crate) struct Sink {
    species: Species,
    means: Means,
    /// Inside temperature of the eggs, °C.
    egg_c: f64,
    /// The water now, °C.
    water_c: Option<f64>,
    /// The water at the end, °C.
    water_end_c: Option<f64>,
    rinse_c: Option<f64>,
    sanitiser_ppm: Option<f64>,
    minutes: Option<f64>,
    sink_cleaned: Option<bool>,
    /// Water in the basin, L.
    litres: f64,
    /// The room, °C.
    room_c: f64,
    /// Minutes for each egg.
    each: f64,
    /// Mean weight of an egg, g.
    grams: f64,
}

/// What is right, whether the water is, how many eggs it can take, and what is wrong with how it
/// is done.
pub(crate) fn sink(farm: &Farm, sink: &Sink) -> Result<Value, FarmError> {
    let setting = setting(farm)?;
    let Some(pack) = setting.pack else {
        return Ok(json!({ "rules": null }));
    };
    let egg = Range::exact(Celsius(sink.egg_c));
    let advice = wash_advice(sink.species, egg, &pack, &setting.house).map_err(said)?;
    let mut why = advice.why.clone();
    let (mut window, mut temper, mut capacity, mut verdict) = (None, None, None, "unknown");
    match advice.value.water {
        Some(Water::Window(right)) => {
            window = Some(right);
            if let Some(water) = sink.water_c {
                verdict = judge(&right, Celsius(water));
                if verdict == "right" {
                    let basin = Basin {
                        water: Litres(sink.litres),
                        start: Celsius(water),
                        room: Celsius(sink.room_c),
                        loss: 4.0,
                        species: sink.species,
                        egg_mass: Grams(sink.grams),
                        egg: Celsius(sink.egg_c),
                        each: Minutes(sink.each),
                    };
                    let found = basin.capacity(&right, &pack).map_err(said)?;
                    capacity = Some(found.value);
                    why.extend(found.why);
                }
            }
        }
        Some(Water::TemperFirst(to)) => temper = Some(to),
        Some(Water::MeasureFirst) | None => {}
    }
    let done = WashDone {
        egg: Some(Celsius(sink.egg_c)),
        water_start: sink.water_c.map(Celsius),
        water_end: sink.water_end_c.map(Celsius),
        rinse: sink.rinse_c.map(Celsius),
        sanitiser_ppm: sink.sanitiser_ppm,
        in_water: sink.minutes.map(Minutes),
        sink_cleaned_first: sink.sink_cleaned,
        ..WashDone::with(sink.species, sink.means)
    };
    let faults = check_wash(&done, &pack, &setting.house).map_err(said)?;
    Ok(json!({
        "rules": pack.name,
        "permission": advice.value.permission,
        "window": window,
        "temper": temper,
        "verdict": verdict,
        "capacity": capacity,
        "faults": faults,
        "why": why,
        "caution": advice.caution,
    }))
}

fn judge(right: &WaterWindow, water: Celsius) -> &'static str {
    if right.contains(water) {
        "right"
    } else if water.0 < right.low.0 {
        "cold"
    } else {
        "hot"
    }
}

/// What can be wrong with an egg: where it shows, when, and what may become of it.
pub(crate) fn defects() -> Value {
    let all: Vec<Value> = Defect::ALL
        .into_iter()
        .map(|defect| json!(defect.facts()))
        .collect();
    json!(all)
}

/// An error of the trade as one of the facade.
pub(crate) fn said(e: TradeError) -> FarmError {
    FarmError::new(ErrorKind::Invalid, e.to_string())
}
