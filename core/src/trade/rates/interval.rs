use serde::{Deserialize, Serialize};

use super::distribution::{beta_quantile, normal_quantile};
use super::error::{RatesError, probability};

/// A count out of a whole, for example eggs cracked of eggs gathered. The whole is at least 1 and at
/// least the count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Proportion {
    pub(super) events: u64,
    pub(super) of: u64,
}

/// Two ends of a range, as shares.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Proportion {
    /// A proportion.
    ///
    /// # Errors
    /// [`RatesError::Share`] if the whole is 0 or less than the count.
    pub fn new(events: u64, of: u64) -> Result<Proportion, RatesError> {
        if of == 0 || events > of {
            return Err(RatesError::Share { events, of });
        }
        Ok(Proportion { events, of })
    }

    /// The count.
    pub fn events(self) -> u64 {
        self.events
    }

    /// The whole.
    pub fn of(self) -> u64 {
        self.of
    }

    /// The share, from 0 to 1.
    pub fn share(self) -> f64 {
        self.events as f64 / self.of as f64
    }

    /// The Wilson score interval. Source: Statistics in Medicine 17:857–872 (1998), method 3. Sound
    /// for few eggs and for no events at all, which is not no risk.
    ///
    /// # Errors
    /// [`RatesError::Number`] for a confidence that is not between 0 and 1.
    pub fn wilson(self, confidence: f64) -> Result<Interval, RatesError> {
        let (n, p, z) = self.parts(confidence)?;
        let middle = 2.0 * n * p + z * z;
        let half = z * (z * z + 4.0 * n * p * (1.0 - p)).sqrt();
        let whole = 2.0 * (n + z * z);
        Ok(self.ends((middle - half) / whole, (middle + half) / whole))
    }

    /// The Wilson interval with continuity correction. Source: same, method 4.
    ///
    /// # Errors
    /// As for [`Proportion::wilson`].
    pub fn wilson_corrected(self, confidence: f64) -> Result<Interval, RatesError> {
        let (n, p, z) = self.parts(confidence)?;
        let (q, zz, whole) = (1.0 - p, z * z, 2.0 * (n + z * z));
        let low = (zz - 2.0 - 1.0 / n + 4.0 * p * (n * q + 1.0))
            .max(0.0)
            .sqrt();
        let high = (zz + 2.0 - 1.0 / n + 4.0 * p * (n * q - 1.0))
            .max(0.0)
            .sqrt();
        let middle = 2.0 * n * p + zz;
        Ok(self.ends(
            (middle - 1.0 - z * low) / whole,
            (middle + 1.0 + z * high) / whole,
        ))
    }

    /// The exact interval of Clopper and Pearson: never too narrow, often too wide. Source: same,
    /// method 5.
    ///
    /// # Errors
    /// As for [`Proportion::wilson`].
    pub fn exact(self, confidence: f64) -> Result<Interval, RatesError> {
        let tail = (1.0 - probability("confidence", confidence)?) / 2.0;
        let (x, rest) = (self.events as f64, (self.of - self.events) as f64);
        let low = if self.events == 0 {
            0.0
        } else {
            beta_quantile(tail, x, rest + 1.0)
        };
        let high = if self.events == self.of {
            1.0
        } else {
            beta_quantile(1.0 - tail, x + 1.0, rest)
        };
        Ok(self.ends(low, high))
    }

    fn parts(self, confidence: f64) -> Result<(f64, f64, f64), RatesError> {
        let confidence = probability("confidence", confidence)?;
        let z = normal_quantile(0.5 + confidence / 2.0);
        Ok((self.of as f64, self.share(), z))
    }

    /// Ends within 0 and 1, and exactly there where nothing or everything was counted.
    fn ends(self, low: f64, high: f64) -> Interval {
        Interval {
            low: if self.events == 0 {
                0.0
            } else {
                low.clamp(0.0, 1.0)
            },
            high: if self.events == self.of {
                1.0
            } else {
                high.clamp(0.0, 1.0)
            },
        }
    }
}
