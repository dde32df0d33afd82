//! Sweating: water settles on an egg whose shell is colder than the dew point of the air it meets,
//! and carries bacteria into the shell.

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, Mark, Reason};
use super::units::{Celsius, CelsiusDelta};

/// Magnus coefficients of Journal of Applied Meteorology 35:601–609 (1996).
const A: f64 = 17.625;
/// The second coefficient of the same set, °C.
const B: f64 = 243.04;
/// Saturation pressure at 0 °C of the same set, Pa; known from memory.
const E0: f64 = 610.94;

/// What sweating means for the person with the egg.
const CAUTION: &str = "Do not handle, wash or pack sweating eggs: bacteria enter with the water. Let \
     them warm in moving air until dry.";

/// Whether eggs sweat in some air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sweat {
    /// The dew point of the air.
    pub dew_point: Celsius,
    /// How much warmer the shell is than the dew point; negative when it sweats.
    pub margin: CelsiusDelta,
    /// Whether it sweats.
    pub sweats: bool,
}

fn air_temperature(air: Celsius) -> Result<f64, TradeError> {
    within("air temperature", air.0, -40.0, 60.0, "°C")
}

fn humidity(percent: f64) -> Result<f64, TradeError> {
    within("relative humidity", percent, 1.0, 100.0, "%")
}

/// The pressure of saturated water vapour over water in pascals.
///
/// # Errors
/// When the air is not of −40 to 60 °C.
pub fn saturation_pressure(air: Celsius) -> Result<f64, TradeError> {
    let t = air_temperature(air)?;
    Ok(E0 * (A * t / (B + t)).exp())
}

/// The dew point of air at a relative humidity in percent, by the Magnus formula. Sets of
/// coefficients in print differ by less than 0.03 °C between 15 and 38 °C.
///
/// # Errors
/// When the air is not of −40 to 60 °C or the humidity not of 1 to 100 %.
pub fn dew_point(air: Celsius, relative_humidity: f64) -> Result<Celsius, TradeError> {
    let t = air_temperature(air)?;
    let gamma = (humidity(relative_humidity)? / 100.0).ln() + A * t / (B + t);
    Ok(Celsius(B * gamma / (A - gamma)))
}

/// Whether eggs with this shell temperature sweat in this air.
///
/// # Errors
/// As for [`dew_point`], and when the egg is not of −10 to 60 °C.
pub fn sweat(
    egg: Celsius,
    air: Celsius,
    relative_humidity: f64,
) -> Result<Finding<Sweat>, TradeError> {
    within("egg temperature", egg.0, -10.0, 60.0, "°C")?;
    let dew_point = dew_point(air, relative_humidity)?;
    let margin = egg - dew_point;
    let value = Sweat {
        dew_point,
        margin,
        sweats: margin.0 < 0.0,
    };
    let words = format!(
        "Air at {air} and {relative_humidity} % has its dew point at {dew_point}; the egg is at {egg}"
    );
    let why = Reason::new(
        words,
        "Purdue extension mimeo P-87; Magnus formula",
        Mark::Seen,
    );
    Ok(Finding::new(value, why, CAUTION))
}

/// The relative humidity in percent from which eggs of this temperature sweat in air of that
/// temperature; `None` when the egg is warmer than the air and cannot sweat.
///
/// # Errors
/// When a temperature is out of range, as for [`sweat`].
pub fn sweating_humidity(egg: Celsius, air: Celsius) -> Result<Option<f64>, TradeError> {
    within("egg temperature", egg.0, -10.0, 60.0, "°C")?;
    let percent = 100.0 * saturation_pressure(egg)? / saturation_pressure(air)?;
    Ok((percent <= 100.0).then_some(percent))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eggs_from_the_cooler_sweat_in_a_kitchen() {
        let kitchen = Celsius::from_fahrenheit(75.0);
        let egg = Celsius::from_fahrenheit(45.0);
        assert!(sweat(egg, kitchen, 35.0).unwrap().value.sweats);
        assert!(!sweat(egg, kitchen, 33.0).unwrap().value.sweats);
        let limit = sweating_humidity(egg, kitchen).unwrap().unwrap();
        assert!((limit - 34.0).abs() < 0.6, "{limit}");
        assert_eq!(sweating_humidity(kitchen, egg).unwrap(), None);
    }

    #[test]
    fn saturated_air_has_its_dew_point_at_its_temperature() {
        for t in [-5.0, 0.0, 20.0, 38.0] {
            assert!((dew_point(Celsius(t), 100.0).unwrap().0 - t).abs() < 1e-9);
        }
        assert!(dew_point(Celsius(20.0), 0.0).is_err());
        assert!(dew_point(Celsius(20.0), 100.1).is_err());
        assert!(dew_point(Celsius(61.0), 50.0).is_err());
    }
}
