use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, Reason, WASH_CAUTION};
use super::means::{Cleaner, Means, Suitability};
use super::rules::{HousePolicy, Permission, RulePack};
use super::species::Species;
use super::units::{Celsius, Minutes, Range};
use super::wash::{Water, permission, water};

/// A cleaning batch as it was logged. `None` is "not measured", never zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WashDone {
    /// Whose eggs.
    pub species: Species,
    /// With what.
    pub means: Means,
    /// What was in the water.
    pub cleaner: Option<Cleaner>,
    /// The inside temperature of the eggs.
    pub egg: Option<Celsius>,
    /// The water at the start.
    pub water_start: Option<Celsius>,
    /// The water at the end.
    pub water_end: Option<Celsius>,
    /// The rinse.
    pub rinse: Option<Celsius>,
    /// The sanitiser in ppm of available chlorine.
    pub sanitiser_ppm: Option<f64>,
    /// How long an egg was under water.
    pub in_water: Option<Minutes>,
    /// How old the water was at the end.
    pub water_age: Option<Minutes>,
    /// How many baskets went through the water.
    pub baskets: Option<u32>,
    /// Whether the sink was cleaned first.
    pub sink_cleaned_first: Option<bool>,
}

impl WashDone {
    /// A batch of which only the means is known.
    pub fn with(species: Species, means: Means) -> WashDone {
        WashDone {
            species,
            means,
            cleaner: None,
            egg: None,
            water_start: None,
            water_end: None,
            rinse: None,
            sanitiser_ppm: None,
            in_water: None,
            water_age: None,
            baskets: None,
            sink_cleaned_first: None,
        }
    }
}

/// What was not as it should be in a cleaning batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WashFault {
    /// This way of cleaning is not open under the pack or the house policy.
    NotAllowed,
    /// The eggs may not be sold in their class any more.
    LosesClass,
    /// The eggs were too cold for any water.
    EggTooCold,
    /// The water was too cold for the eggs.
    WaterTooCold,
    /// The water was so hot that shells crack.
    WaterTooHot,
    /// The rinse was colder than allowed beside the wash water.
    RinseTooCold,
    /// The sanitiser was too weak.
    SanitiserTooWeak,
    /// The sanitiser was too strong.
    SanitiserTooStrong,
    /// Eggs stood in water.
    Soaked,
    /// The water was used too long.
    WaterTooOld,
    /// Too many baskets went through the water.
    TooManyBaskets,
    /// The cleaner is not for eggs.
    Cleaner,
    /// The tool is advised against.
    Means,
    /// The sink was not cleaned first.
    SinkNotCleaned,
    /// The temperature of eggs or water was not measured.
    NotMeasured,
}

/// Everything that was not as it should be in a cleaning batch; empty when all was well as far as
/// it was measured.
///
/// # Errors
/// When a measurement cannot be: water not of 0 to 100 °C, an egg not of −5 to 50 °C, sanitiser not
/// of 0 to 100 000 ppm, minutes below zero.
pub fn check_wash(
    done: &WashDone,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Vec<Finding<WashFault>>, TradeError> {
    validate(done)?;
    let mut faults = Vec::new();
    let mut fault = |value, why| faults.push(Finding::new(value, why, WASH_CAUTION));
    let rules = &pack.cleaning;
    if !done.means.is_wet() {
        let dry = &rules.dry;
        match dry.value {
            Permission::Allowed => {}
            Permission::LosesClass if !pack.grades_species(done.species) => {}
            Permission::LosesClass => fault(
                WashFault::LosesClass,
                dry.reason("A cleaned egg may not be sold in its class"),
            ),
            Permission::Forbidden => fault(
                WashFault::NotAllowed,
                dry.reason("Dry cleaning is not allowed"),
            ),
        }
        return Ok(faults);
    }
    let allowed = permission(done.species, pack, house);
    match allowed.value {
        Permission::Allowed => {}
        Permission::LosesClass => fault(WashFault::LosesClass, allowed.why[0].clone()),
        Permission::Forbidden => fault(WashFault::NotAllowed, allowed.why[0].clone()),
    }
    if done.means.advice().value == Suitability::AdvisedAgainst {
        fault(WashFault::Means, done.means.advice().why[0].clone());
    }
    if let Some(rule) = &rules.wet_hand_cleaning_prohibited
        && rule.value
        && matches!(done.means, Means::Cloth | Means::Sponge)
    {
        let words = "Wet hand cleaning with rags, sponges and the like is prohibited";
        fault(WashFault::NotAllowed, rule.reason(words));
    }
    if let Some(cleaner) = done.cleaner
        && cleaner.advice().value == Suitability::AdvisedAgainst
    {
        fault(WashFault::Cleaner, cleaner.advice().why[0].clone());
    }
    if done.sink_cleaned_first == Some(false) {
        let why = Reason::common_practice("Clean and sanitise the sink before eggs go into it.");
        fault(WashFault::SinkNotCleaned, why);
    }
    for finding in temperatures(done, pack)? {
        faults.push(finding);
    }
    let mut fault = |value, why| faults.push(Finding::new(value, why, WASH_CAUTION));
    if let (Some(rinse), Some(wash), Some(rule)) = (
        done.rinse,
        done.water_end.or(done.water_start),
        &rules.rinse_above_wash_min,
    ) && (rinse - wash).0 < rule.value.0 - 1e-9
    {
        let words = format!(
            "The rinse was {rinse} and the wash {wash}; it has to be warmer by {} or more",
            rule.value
        );
        fault(WashFault::RinseTooCold, rule.reason(words));
    }
    if let (Some(ppm), Some(rule)) = (done.sanitiser_ppm, &rules.sanitiser_ppm) {
        let (low, high) = rule.value;
        let words = format!("Sanitiser {ppm} ppm; {low} to {high} ppm of available chlorine");
        if ppm < low {
            fault(WashFault::SanitiserTooWeak, rule.reason(words));
        } else if ppm > high {
            fault(WashFault::SanitiserTooStrong, rule.reason(words));
        }
    }
    // A spray runs off; under any other wet means the logged time is time in the water.
    if let (Some(time), Some(rule)) = (done.in_water, &rules.soak_max)
        && done.means != Means::Spray
        && time.0 > rule.value.0
    {
        let words = format!(
            "Eggs stood in water for {} minutes; they may not soak",
            time.0
        );
        fault(WashFault::Soaked, rule.reason(words));
    }
    if let (Some(age), Some(rule)) = (done.water_age, &rules.water_age_max)
        && age.0 > rule.value.0
    {
        let words = format!(
            "The water was {:.1} hours old; changed after {} hours",
            age.hours(),
            rule.value.hours()
        );
        fault(WashFault::WaterTooOld, rule.reason(words));
    }
    if let (Some(baskets), Some(rule)) = (done.baskets, &rules.baskets_max)
        && baskets > rule.value
    {
        let words = format!(
            "{baskets} baskets in one water; changed after {}",
            rule.value
        );
        fault(WashFault::TooManyBaskets, rule.reason(words));
    }
    Ok(faults)
}

/// Egg and water beside the window. What was estimated is not judged here: only readings.
fn temperatures(done: &WashDone, pack: &RulePack) -> Result<Vec<Finding<WashFault>>, TradeError> {
    let waters: Vec<Celsius> = [done.water_start, done.water_end]
        .into_iter()
        .flatten()
        .collect();
    let found = |value, why| vec![Finding::because(value, why, WASH_CAUTION)];
    let (Some(egg), false) = (done.egg, waters.is_empty()) else {
        let why = Reason::common_practice(
            "Without the temperature of eggs and water nobody can say that the water was right.",
        );
        return Ok(found(WashFault::NotMeasured, vec![why]));
    };
    // The window is physics as much as law: it holds for eggs that should not have been washed, too.
    let right = water(done.species, Range::exact(egg), pack)?;
    let with = |words: String| {
        let mut why = right.why.clone();
        why.insert(0, Reason::common_practice(words));
        why
    };
    let window = match right.value {
        Water::TemperFirst(to) => {
            let words = format!("The eggs were at {egg}; they have to warm to {to} first");
            return Ok(found(WashFault::EggTooCold, with(words)));
        }
        Water::Window(window) => window,
        Water::MeasureFirst => return Ok(Vec::new()),
    };
    let mut faults: Vec<Finding<WashFault>> = Vec::new();
    for water in waters.into_iter().filter(|w| !window.contains(*w)) {
        let value = if water.0 < window.low.0 {
            WashFault::WaterTooCold
        } else {
            WashFault::WaterTooHot
        };
        if faults.iter().all(|f| f.value != value) {
            let words = format!("The water was {water} for eggs at {egg}; right is {window}");
            faults.extend(found(value, with(words)));
        }
    }
    Ok(faults)
}

fn validate(done: &WashDone) -> Result<(), TradeError> {
    if let Some(egg) = done.egg {
        within("egg temperature", egg.0, -5.0, 50.0, "°C")?;
    }
    for (field, reading) in [
        ("water temperature at the start", done.water_start),
        ("water temperature at the end", done.water_end),
        ("rinse temperature", done.rinse),
    ] {
        if let Some(t) = reading {
            within(field, t.0, 0.0, 100.0, "°C")?;
        }
    }
    if let Some(ppm) = done.sanitiser_ppm {
        within("sanitiser", ppm, 0.0, 100_000.0, "ppm")?;
    }
    for (field, time) in [
        ("minutes in water", done.in_water),
        ("age of the water", done.water_age),
    ] {
        if let Some(time) = time {
            within(field, time.0, 0.0, 60.0 * 24.0 * 7.0, "minutes")?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
