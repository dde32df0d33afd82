//! Typed quantities. A *difference* of temperatures is a type of its own: 20 Fahrenheit degrees of
//! difference are 11.1 Celsius degrees, which is not what the reading 20 °F converts to.

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

/// Grams in one avoirdupois ounce, exact by definition (1 lb = 453.59237 g).
pub const GRAMS_PER_OUNCE: f64 = 28.349523125;

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

impl Grams {
    /// A mass in avoirdupois ounces.
    pub fn from_ounces(oz: f64) -> Grams {
        Grams(oz * GRAMS_PER_OUNCE)
    }

    /// The mass in avoirdupois ounces.
    pub fn ounces(self) -> f64 {
        self.0 / GRAMS_PER_OUNCE
    }
}
