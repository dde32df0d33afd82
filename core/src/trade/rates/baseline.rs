use serde::{Deserialize, Serialize};

use super::distribution::Counts;
use super::error::{RatesError, between, probability};

/// One day of a flock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlockDay {
    /// Hens that count on this day.
    pub hens: u32,
    /// Eggs, or `None` if unknown.
    pub eggs: Option<u32>,
}

/// How a flock usually lays.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Baseline {
    /// Eggs per hen and day.
    pub rate: f64,
    /// The variance of a day's count over its mean; 1 for Poisson counts, often less for hens.
    pub dispersion: f64,
    /// The variance of the rate's own estimate, over the rate squared.
    pub uncertainty: f64,
    /// Degrees of freedom behind the dispersion.
    pub freedom: f64,
}

/// Known days below which nothing is said.
const LEAST_DAYS: usize = 7;
/// Counts of real flocks are never this regular; it keeps a lucky streak from making a razor of
/// the alarm.
const LEAST_DISPERSION: f64 = 0.05;

impl Baseline {
    /// The rate and its scatter, from days in order, the latest last. Unknown days and days without
    /// hens say nothing.
    ///
    /// With a half-life, a day counts half as much as one that many days later; without, all count
    /// alike. The dispersion is Pearson's: Σ w (x − rh)²/(rh), over the degrees of freedom. Source:
    /// quasi-likelihood as in Biometrika 61:439–447 (1974).
    ///
    /// # Errors
    /// [`RatesError::TooFew`] under 7 known days or without an egg, [`RatesError::Number`] for a
    /// half-life outside 1 to 1000 days.
    pub fn from_days(days: &[FlockDay], half_life: Option<f64>) -> Result<Baseline, RatesError> {
        if let Some(value) = half_life {
            between("half_life", value, 1.0, 1000.0, "1 to 1000 days")?;
        }
        let weight = |age: usize| half_life.map_or(1.0, |life| 0.5_f64.powf(age as f64 / life));
        let known: Vec<(f64, f64, f64)> = days
            .iter()
            .rev()
            .enumerate()
            .filter(|(_, day)| day.hens > 0)
            .filter_map(|(age, day)| {
                day.eggs
                    .map(|x| (weight(age), f64::from(day.hens), f64::from(x)))
            })
            .collect();
        let too_few = |field, value, least| {
            Err(RatesError::TooFew {
                field,
                value,
                least,
            })
        };
        if known.len() < LEAST_DAYS {
            return too_few("days with a count", known.len(), LEAST_DAYS);
        }
        let sum = |f: &dyn Fn(f64, f64, f64) -> f64| -> f64 {
            known.iter().map(|&(w, h, x)| f(w, h, x)).sum()
        };
        let (eggs, hens) = (sum(&|w, _, x| w * x), sum(&|w, h, _| w * h));
        if eggs <= 0.0 {
            return too_few("eggs", 0, 1);
        }
        let rate = eggs / hens;
        let weights = sum(&|w, _, _| w);
        let doubled = sum(&|w, _, _| w * w) / weights;
        let pearson = sum(&|w, h, x| w * (x - rate * h).powi(2) / (rate * h));
        let dispersion = (pearson / (weights - doubled)).max(LEAST_DISPERSION);
        Ok(Baseline {
            rate,
            dispersion,
            uncertainty: dispersion * sum(&|w, h, _| w * w * h) / (rate * hens * hens),
            freedom: weights / doubled - 1.0,
        })
    }

    /// The law of the eggs of `hen_days` hen-days to come: the scatter of the days, the doubt about
    /// the rate, and the doubt about the scatter itself (as much wider as Student's law is than the
    /// normal one).
    ///
    /// # Errors
    /// As for [`Counts::new`].
    pub fn eggs_of(&self, hen_days: f64) -> Result<Counts, RatesError> {
        self.counts(hen_days, 1.0)
    }

    /// The same for the eggs that remain when each is kept with the chance `kept`.
    pub(super) fn counts(&self, hen_days: f64, kept: f64) -> Result<Counts, RatesError> {
        let mean = self.rate * hen_days;
        let wider = if self.freedom > 2.0 {
            self.freedom / (self.freedom - 2.0)
        } else {
            3.0
        };
        let dispersion = (self.dispersion + mean * self.uncertainty) * wider;
        Counts::new(mean * kept, dispersion * kept + 1.0 - kept)
    }

    /// The range in which a day's eggs are expected with this probability.
    ///
    /// # Errors
    /// [`RatesError::Number`] for a probability that is not between 0 and 1.
    pub fn expected(&self, hens: u32, chance: f64) -> Result<(u64, u64), RatesError> {
        let chance = probability("chance", chance)?;
        Ok(self.eggs_of(f64::from(hens))?.range(chance))
    }
}
