//! Rates, intervals, charts, cumulative sums and distributions.

mod handbook;
mod laws;
mod laying;
mod shares;

use super::Check;

/// A value that equals nothing, so that a row that cannot be computed is never right.
fn value<E>(result: Result<f64, E>) -> f64 {
    result.unwrap_or(f64::NAN)
}

/// The rows.
pub(super) fn rows() -> Vec<Check> {
    [
        laying::rows(),
        shares::rows(),
        handbook::rows(),
        laws::rows(),
    ]
    .concat()
}
