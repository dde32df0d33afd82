//! Shewhart charts for counts. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.

use serde::Serialize;

use super::distribution::Counts;
use super::error::{RatesError, between};

/// Three-sigma limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limits {
    /// The centre line.
    pub centre: f64,
    /// The lower limit; 0 where the formula falls below.
    pub lower: f64,
    /// The upper limit.
    pub upper: f64,
    /// The least count that is above what chance alone gives 99.865 times of 100, by the exact
    /// law: the formula is too tight for the small counts of a small flock.
    pub exact_alarm: u64,
}

fn limits(centre: f64, sigma: f64, exact: Counts) -> Limits {
    Limits {
        centre,
        lower: (centre - 3.0 * sigma).max(0.0),
        upper: centre + 3.0 * sigma,
        exact_alarm: exact.quantile(0.998_65) + 1,
    }
}

/// Limits for the share of eggs with a fault, for a batch of `eggs`.
///
/// # Errors
/// [`RatesError::Number`] for a usual share outside 0 to 1, or no eggs.
pub fn p_limits(usual_share: f64, eggs: u64) -> Result<Limits, RatesError> {
    let counts = np_limits(usual_share, eggs)?;
    let n = eggs as f64;
    Ok(Limits {
        centre: usual_share,
        lower: counts.lower / n,
        upper: counts.upper / n,
        ..counts
    })
}

/// Limits for the number of eggs with a fault, for batches of `eggs`.
///
/// # Errors
/// As for [`p_limits`].
pub fn np_limits(usual_share: f64, eggs: u64) -> Result<Limits, RatesError> {
    between("usual_share", usual_share, 0.0, 1.0, "0 to 1")?;
    let n = between("eggs", eggs as f64, 1.0, 1e9, "1 to 1000000000")?;
    let exact = Counts::Binomial {
        n: eggs,
        p: usual_share,
    };
    Ok(limits(
        n * usual_share,
        (n * usual_share * (1.0 - usual_share)).sqrt(),
        exact,
    ))
}

/// Limits for a count with no fixed whole, for example broken eggs a week.
///
/// # Errors
/// [`RatesError::Number`] for a usual count outside 0 to 10 million.
pub fn c_limits(usual_count: f64) -> Result<Limits, RatesError> {
    let exact = Counts::new(usual_count, 1.0)?;
    Ok(limits(usual_count, usual_count.sqrt(), exact))
}
