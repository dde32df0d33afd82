//! Typed quantities. A *difference* of temperatures is a type of its own: 20 Fahrenheit degrees of
//! difference are 11.1 Celsius degrees, which is not what the reading 20 °F converts to.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A temperature reading in degrees Celsius.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Celsius(pub f64);

/// A difference of two temperatures in Celsius degrees (kelvins).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct CelsiusDelta(pub f64);

/// A mass in grams.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Grams(pub f64);

/// A length in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Millimetres(pub f64);

/// A volume in litres.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Litres(pub f64);

/// An elapsed time in minutes.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Minutes(pub f64);

/// Grams in one avoirdupois ounce, exact by definition (1 lb = 453.59237 g).
pub const GRAMS_PER_OUNCE: f64 = 28.349523125;

/// Millimetres in one inch, exact by definition.
pub const MILLIMETRES_PER_INCH: f64 = 25.4;

/// Litres in one US liquid gallon, exact by definition (231 cubic inches).
pub const LITRES_PER_US_GALLON: f64 = 3.785411784;

impl Celsius {
    /// A reading in degrees Fahrenheit.
    pub fn from_fahrenheit(f: f64) -> Celsius {
        Celsius((f - 32.0) * 5.0 / 9.0)
    }

    /// The reading in degrees Fahrenheit.
    pub fn fahrenheit(self) -> f64 {
        self.0 * 9.0 / 5.0 + 32.0
    }
}

impl CelsiusDelta {
    /// A difference in Fahrenheit degrees; no offset, only the factor 5/9.
    pub fn from_fahrenheit_delta(f: f64) -> CelsiusDelta {
        CelsiusDelta(f * 5.0 / 9.0)
    }

    /// The difference in Fahrenheit degrees.
    pub fn fahrenheit_delta(self) -> f64 {
        self.0 * 9.0 / 5.0
    }
}

impl std::ops::Sub for Celsius {
    type Output = CelsiusDelta;
    fn sub(self, other: Celsius) -> CelsiusDelta {
        CelsiusDelta(self.0 - other.0)
    }
}

impl std::ops::Add<CelsiusDelta> for Celsius {
    type Output = Celsius;
    fn add(self, delta: CelsiusDelta) -> Celsius {
        Celsius(self.0 + delta.0)
    }
}

impl std::ops::Sub<CelsiusDelta> for Celsius {
    type Output = Celsius;
    fn sub(self, delta: CelsiusDelta) -> Celsius {
        Celsius(self.0 - delta.0)
    }
}

/// Both scales, for example `90.0 °F (32.2 °C)`.
impl fmt::Display for Celsius {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} °F ({:.1} °C)", self.fahrenheit(), self.0)
    }
}

/// Both scales, for example `20.0 °F (11.1 °C)`.
impl fmt::Display for CelsiusDelta {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.1} °F ({:.1} °C)", self.fahrenheit_delta(), self.0)
    }
}

impl Grams {
    /// A mass in avoirdupois ounces.
    pub fn from_ounces(oz: f64) -> Grams {
        Grams(oz * GRAMS_PER_OUNCE)
    }

    /// The mass in avoirdupois ounces.
    pub fn ounces(self) -> f64 {
        self.0 / GRAMS_PER_OUNCE
    }

    /// A mass in avoirdupois pounds (16 oz).
    pub fn from_pounds(lb: f64) -> Grams {
        Grams::from_ounces(lb * 16.0)
    }

    /// The mass in avoirdupois pounds.
    pub fn pounds(self) -> f64 {
        self.ounces() / 16.0
    }
}

impl Millimetres {
    /// A length in inches.
    pub fn from_inches(inches: f64) -> Millimetres {
        Millimetres(inches * MILLIMETRES_PER_INCH)
    }

    /// The length in inches.
    pub fn inches(self) -> f64 {
        self.0 / MILLIMETRES_PER_INCH
    }
}

impl Litres {
    /// A volume in US liquid gallons.
    pub fn from_us_gallons(gallons: f64) -> Litres {
        Litres(gallons * LITRES_PER_US_GALLON)
    }

    /// The volume in US liquid gallons.
    pub fn us_gallons(self) -> f64 {
        self.0 / LITRES_PER_US_GALLON
    }
}

impl Minutes {
    /// An elapsed time in hours.
    pub fn from_hours(hours: f64) -> Minutes {
        Minutes(hours * 60.0)
    }

    /// The elapsed time in hours.
    pub fn hours(self) -> f64 {
        self.0 / 60.0
    }

    /// The elapsed time in seconds.
    pub fn seconds(self) -> f64 {
        self.0 * 60.0
    }
}

/// The lowest, likeliest and highest value of an estimate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Range<T> {
    /// The lowest value to reckon with.
    pub low: T,
    /// The likeliest value.
    pub likely: T,
    /// The highest value to reckon with.
    pub high: T,
}

impl<T: Copy> Range<T> {
    /// A value that was measured.
    pub fn exact(value: T) -> Range<T> {
        Range {
            low: value,
            likely: value,
            high: value,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The international pound is 0.45359237 kg, the inch 25.4 mm, the US gallon 231 cubic inches:
    /// exact by definition (NIST Handbook 44, appendix C, from memory). A units library that rounds
    /// the ounce cannot show a slip in the seventh figure.
    #[test]
    fn conversions_are_those_of_the_definitions() {
        assert_eq!(Grams::from_ounces(16.0).0, 453.59237);
        assert_eq!(Grams::from_pounds(1.0).0, 453.59237);
        assert_eq!(Millimetres::from_inches(0.125).0, 3.175);
        let gallon = 231.0 * 2.54 * 2.54 * 2.54 / 1000.0;
        assert!((Litres::from_us_gallons(1.0).0 - gallon).abs() < 1e-12);
        assert!((Celsius::from_fahrenheit(212.0).0 - 100.0).abs() < 1e-12);
    }

    #[test]
    fn a_difference_is_not_a_reading() {
        assert!((CelsiusDelta::from_fahrenheit_delta(20.0).0 - 11.0 - 1.0 / 9.0).abs() < 1e-12);
        assert!((Celsius::from_fahrenheit(20.0).0 + 6.0 + 2.0 / 3.0).abs() < 1e-12);
        assert_eq!(
            CelsiusDelta::from_fahrenheit_delta(20.0).to_string(),
            "20.0 °F (11.1 °C)"
        );
    }
}
