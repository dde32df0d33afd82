//! Distributions of counts, from the incomplete beta and gamma functions.

use special::{Beta, Error, Gamma};

use super::error::{RatesError, between};

/// The standard normal quantile, for a probability between 0 and 1.
pub fn normal_quantile(probability: f64) -> f64 {
    std::f64::consts::SQRT_2 * Error::inv_error(2.0 * probability - 1.0)
}

/// The regularised incomplete beta function with its ends.
fn beta_cdf(x: f64, a: f64, b: f64) -> f64 {
    Beta::inc_beta(x.clamp(0.0, 1.0), a, b, Beta::ln_beta(a, b))
}

/// The quantile of a beta distribution.
pub(super) fn beta_quantile(probability: f64, a: f64, b: f64) -> f64 {
    Beta::inv_inc_beta(probability, a, b, Beta::ln_beta(a, b))
}

/// The logarithm of n choose k.
pub(super) fn ln_choose(n: u64, k: u64) -> f64 {
    let ln_factorial = |m: u64| Gamma::ln_gamma(m as f64 + 1.0).0;
    ln_factorial(n) - ln_factorial(k) - ln_factorial(n - k)
}

/// A distribution of counts with a given mean and a variance of `dispersion` times the mean: the
/// three laws of the Panjer family, so that the variance may lie on either side of the mean's.
///
/// Eggs of one day are usually *less* scattered than Poisson counts, for a hen lays at most about
/// one egg a day; weather, light and illness scatter them more.
///
/// Probabilities agree with an independent library to 1e-5; Poisson ones of counts beyond 1000 only
/// to 1e-4, for there the incomplete gamma function follows the normal approximation of algorithm
/// AS 239 (Applied Statistics 37:466–473, 1988).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Counts {
    /// Variance below the mean.
    Binomial {
        /// Trials.
        n: u64,
        /// Chance of each.
        p: f64,
    },
    /// Variance equal to the mean.
    Poisson {
        /// The mean.
        mean: f64,
    },
    /// Variance above the mean.
    NegativeBinomial {
        /// The size, a positive number that need not be whole.
        r: f64,
        /// The chance of success; mean = r (1 − p) / p.
        p: f64,
    },
}

impl Counts {
    /// The law for a mean and a dispersion (variance over mean; quasi-Poisson scale).
    ///
    /// Below 1 the number of trials is rounded up, which widens the law a little rather than
    /// narrowing it.
    ///
    /// # Errors
    /// [`RatesError::Number`] for a mean outside 0 to 10 million or a dispersion outside 0 to 1000.
    pub fn new(mean: f64, dispersion: f64) -> Result<Counts, RatesError> {
        between("mean", mean, 0.0, 1e7, "0 to 10000000")?;
        between("dispersion", dispersion, 0.0, 1e3, "0 to 1000")?;
        Ok(if mean == 0.0 || (dispersion - 1.0).abs() < 1e-3 {
            Counts::Poisson { mean }
        } else if dispersion > 1.0 {
            Counts::NegativeBinomial {
                r: mean / (dispersion - 1.0),
                p: 1.0 / dispersion,
            }
        } else {
            // The tiny allowance keeps 12 / (1 − 0.4) at 20.
            let n = (mean / (1.0 - dispersion) - 1e-9).ceil().max(1.0);
            Counts::Binomial {
                n: n as u64,
                p: (mean / n).min(1.0),
            }
        })
    }

    /// The mean.
    pub fn mean(self) -> f64 {
        match self {
            Counts::Binomial { n, p } => n as f64 * p,
            Counts::Poisson { mean } => mean,
            Counts::NegativeBinomial { r, p } => r * (1.0 - p) / p,
        }
    }

    /// The standard deviation.
    pub fn deviation(self) -> f64 {
        match self {
            Counts::Binomial { n, p } => (n as f64 * p * (1.0 - p)).sqrt(),
            Counts::Poisson { mean } => mean.sqrt(),
            Counts::NegativeBinomial { r, p } => (r * (1.0 - p)).sqrt() / p,
        }
    }

    /// The chance of `k` or fewer.
    pub fn at_most(self, k: u64) -> f64 {
        let k1 = k as f64 + 1.0;
        match self {
            Counts::Binomial { n, .. } if k >= n => 1.0,
            Counts::Binomial { n, p } => beta_cdf(1.0 - p, n as f64 - k as f64, k1),
            Counts::Poisson { mean: 0.0 } => 1.0,
            Counts::Poisson { mean } => (1.0 - Gamma::inc_gamma(mean, k1)).clamp(0.0, 1.0),
            Counts::NegativeBinomial { r, p } => beta_cdf(p, r, k1),
        }
    }

    /// The chance of `k` or more.
    pub fn at_least(self, k: u64) -> f64 {
        match k.checked_sub(1) {
            Some(below) => (1.0 - self.at_most(below)).max(0.0),
            None => 1.0,
        }
    }

    /// The least count whose [`at_most`](Counts::at_most) reaches the probability.
    pub fn quantile(self, probability: f64) -> u64 {
        let mut high = (self.mean() + 4.0 * self.deviation()) as u64 + 1;
        while self.at_most(high) < probability && high < 1 << 40 {
            high *= 2;
        }
        let mut low = 0;
        while low < high {
            let middle = low.midpoint(high);
            if self.at_most(middle) >= probability {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        low
    }

    /// The middle range that holds at least this probability, the tails shared equally.
    pub fn range(self, probability: f64) -> (u64, u64) {
        let tail = (1.0 - probability) / 2.0;
        (self.quantile(tail), self.quantile(1.0 - tail))
    }
}
