//! What the wash water has to be for eggs of a temperature, under a rule pack.
//!
//! Water colder than the egg makes the contents shrink and draws bacteria in through the pores;
//! water much hotter cracks the shell. Between the two there is a window, and an egg too cold for
//! any water has to be tempered first.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, Mark, Reason, WASH_CAUTION};
use super::rules::{HousePolicy, Permission, RulePack};
use super::species::Species;
use super::units::{Celsius, Range};

/// Readings a hair apart by rounding in binary are the same reading.
const EPSILON: f64 = 1e-9;

/// The temperatures that wash water may have.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WaterWindow {
    /// The coldest.
    pub low: Celsius,
    /// The hottest, where the pack has a limit for cracks.
    pub high: Option<Celsius>,
}

impl WaterWindow {
    /// Whether water of this temperature is in the window; both ends are.
    pub fn contains(&self, water: Celsius) -> bool {
        water.0 >= self.low.0 - EPSILON && self.high.is_none_or(|h| water.0 <= h.0 + EPSILON)
    }

    fn is_empty(&self) -> bool {
        self.high.is_some_and(|h| self.low.0 > h.0 + EPSILON)
    }
}

/// For example `90.0 °F (32.2 °C) to 110.0 °F (43.3 °C)`.
impl fmt::Display for WaterWindow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.high {
            Some(high) => write!(f, "{} to {high}", self.low),
            None => write!(f, "{} or warmer", self.low),
        }
    }
}

/// What to do about the water.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Water {
    /// Water within these temperatures.
    Window(WaterWindow),
    /// The eggs are too cold for any water: let them warm to this first, and dry if they sweat.
    TemperFirst(Celsius),
    /// The egg's temperature is too uncertain: measure one.
    MeasureFirst,
}

/// Whether and how eggs may be washed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WashAdvice {
    /// Whether washing is open at all.
    pub permission: Permission,
    /// The water; `None` when washing is not open. Dry cleaning is the way then.
    pub water: Option<Water>,
}

/// Whether eggs of a species may be washed, with the reasons.
pub fn permission(species: Species, pack: &RulePack, house: &HousePolicy) -> Finding<Permission> {
    if house.keep_bloom {
        let why = Reason::new(
            "The farm keeps the bloom: eggs are cleaned dry only.",
            "house policy",
            Mark::House,
        );
        return Finding::new(Permission::Forbidden, why, WASH_CAUTION);
    }
    let rule = &pack.cleaning.wet;
    let (value, words) = match rule.value {
        Permission::LosesClass if !pack.grades_species(species) => (
            Permission::Allowed,
            format!(
                "{} does not speak of {} eggs; ask for your local rule.",
                pack.name,
                species.code()
            ),
        ),
        Permission::Allowed => (
            Permission::Allowed,
            format!("Washing is allowed under {}.", pack.name),
        ),
        Permission::LosesClass => (
            Permission::LosesClass,
            "A washed egg may not be sold in its class, except from an authorised plant; for the \
             home it may be washed."
                .to_owned(),
        ),
        Permission::Forbidden => (
            Permission::Forbidden,
            format!("Washing is not allowed under {}; clean dry.", pack.name),
        ),
    };
    Finding::new(value, rule.reason(words), WASH_CAUTION)
}

/// The water for eggs of this inside temperature. Where the temperature is an estimate, the warm
/// end sets the least and the cold end the most, so that the water is right for every egg.
///
/// # Errors
/// When the egg is not of −5 to 50 °C.
pub fn wash_advice(
    species: Species,
    egg: Range<Celsius>,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Finding<WashAdvice>, TradeError> {
    let allowed = permission(species, pack, house);
    if allowed.value == Permission::Forbidden {
        check_egg(egg)?;
        return Ok(allowed.map(|permission| WashAdvice {
            permission,
            water: None,
        }));
    }
    let mut water = water(species, egg, pack)?;
    let mut why = allowed.why;
    why.append(&mut water.why);
    let advice = WashAdvice {
        permission: allowed.value,
        water: Some(water.value),
    };
    Ok(Finding::because(advice, why, WASH_CAUTION))
}

fn check_egg(egg: Range<Celsius>) -> Result<(), TradeError> {
    for t in [egg.low, egg.likely, egg.high] {
        within("egg temperature", t.0, -5.0, 50.0, "°C")?;
    }
    Ok(())
}

/// The water for eggs of this inside temperature, whether or not they may be washed for sale.
///
/// # Errors
/// When the egg is not of −5 to 50 °C.
pub fn water(
    species: Species,
    egg: Range<Celsius>,
    pack: &RulePack,
) -> Result<Finding<Water>, TradeError> {
    check_egg(egg)?;
    let mut why = Vec::new();
    let rules = &pack.cleaning;
    let mut low = f64::NEG_INFINITY;
    if let Some(rule) = &rules.water_min {
        low = rule.value.0;
        why.push(rule.reason(format!("Wash water is at least {}", rule.value)));
    }
    if let Some(rule) = &rules.water_above_egg_min {
        low = low.max((egg.high + rule.value).0);
        let words = format!(
            "Wash water is at least {} warmer than the inside of the egg",
            rule.value
        );
        why.push(rule.reason(words));
    }
    if low == f64::NEG_INFINITY {
        // A pack without any such rule: at the very least no colder than the egg.
        low = egg.high.0;
        why.push(Reason::common_practice(
            "Wash water is never colder than the egg",
        ));
    }
    let mut window = WaterWindow {
        low: Celsius(low),
        high: None,
    };
    let mut warm_to = None;
    if let Some(rule) = &rules.water_above_egg_max {
        window.high = Some(egg.low + rule.value);
        let words = format!("More than {} warmer than the egg cracks shells", rule.value);
        why.push(rule.reason(words));
        warm_to = rules.water_min.as_ref().map(|min| min.value - rule.value);
    }
    if !pack.grades_species(species) {
        why.push(Reason::common_practice(
            "These figures were written for hens' eggs; for other species they are guidance.",
        ));
    }
    let water = match warm_to {
        _ if !window.is_empty() => Water::Window(window),
        Some(to) if egg.likely.0 < to.0 - EPSILON => {
            why.push(Reason::common_practice(format!(
                "The egg is too cold for any wash water: let it warm to {to} first. It sweats \
                 meanwhile; wait until it is dry."
            )));
            if let Some(rule) = &pack.chill.temper_max {
                let hours = rule.value.hours();
                why.push(rule.reason(format!("Tempering takes no more than {hours} hours")));
            }
            Water::TemperFirst(to)
        }
        _ => Water::MeasureFirst,
    };
    Ok(Finding::because(water, why, WASH_CAUTION))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn us(fahrenheit: f64) -> Water {
        let egg = Range::exact(Celsius::from_fahrenheit(fahrenheit));
        let pack = RulePack::us_federal();
        let found = wash_advice(Species::Hen, egg, &pack, &HousePolicy::default());
        found.unwrap().value.water.unwrap()
    }

    #[test]
    fn the_window_by_the_temperature_of_the_egg() {
        for (egg, lowest) in [
            (50.0, 90.0),
            (60.0, 90.0),
            (70.0, 90.0),
            (75.0, 95.0),
            (98.0, 118.0),
        ] {
            let Water::Window(window) = us(egg) else {
                panic!("no window at {egg} °F");
            };
            assert!((window.low.fahrenheit() - lowest).abs() < 1e-9, "{egg}");
            let high = window.high.unwrap().fahrenheit();
            assert!((high - egg - 40.0).abs() < 1e-9, "{egg}");
        }
    }

    #[test]
    fn too_cold_an_egg_is_tempered_first() {
        for egg in [40.0, 45.0, 49.9] {
            let Water::TemperFirst(to) = us(egg) else {
                panic!("no tempering at {egg} °F");
            };
            assert!((to.fahrenheit() - 50.0).abs() < 1e-9);
        }
        assert!(matches!(us(50.0), Water::Window(_)));
    }

    #[test]
    fn an_estimate_too_wide_has_no_water() {
        let egg = Range {
            low: Celsius(15.0),
            likely: Celsius(25.0),
            high: Celsius(35.0),
        };
        let pack = RulePack::us_federal();
        let found = wash_advice(Species::Hen, egg, &pack, &HousePolicy::default()).unwrap();
        assert_eq!(found.value.water, Some(Water::MeasureFirst));
    }

    #[test]
    fn where_washing_is_not_open_it_says_so() {
        let egg = Range::exact(Celsius(20.0));
        let house = HousePolicy::default();
        let eu = wash_advice(Species::Hen, egg, &RulePack::eu(), &house).unwrap();
        assert_eq!(eu.value.permission, Permission::LosesClass);
        assert!(eu.why[0].rule.contains("may not be sold in its class"));
        let duck = wash_advice(Species::Duck, egg, &RulePack::eu(), &house).unwrap();
        assert_eq!(duck.value.permission, Permission::Allowed);
        let bloom = HousePolicy {
            keep_bloom: true,
            ..house
        };
        let dry = wash_advice(Species::Hen, egg, &RulePack::us_federal(), &bloom).unwrap();
        assert_eq!(dry.value.water, None);
        let mut pack = RulePack::us_federal();
        pack.cleaning.wet.value = Permission::Forbidden;
        let none = wash_advice(Species::Hen, egg, &pack, &HousePolicy::default()).unwrap();
        assert_eq!(
            (none.value.permission, none.value.water),
            (Permission::Forbidden, None)
        );
    }
}
