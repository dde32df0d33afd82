//! Finds where an answer of the code changes, so that a limit is checked by what the code does and
//! not by what it stores.

/// The largest value in `low..=high` for which `holds`, when it holds at `low` and from some value
/// on no more. Not-a-number when it does not hold at `low`, or still holds at `high`.
pub(super) fn last(low: f64, high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    if !holds(low) || holds(high) {
        return f64::NAN;
    }
    let (mut low, mut high) = (low, high);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

/// The smallest value for which `holds`, when it does not hold at `low` and from some value on it
/// does.
pub(super) fn first(low: f64, high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    last(low, high, |x| !holds(x))
}

/// The largest whole number up to `high` for which `holds`.
pub(super) fn last_whole(high: u32, holds: impl Fn(u32) -> bool) -> f64 {
    (0..=high)
        .take_while(|n| holds(*n))
        .last()
        .map_or(f64::NAN, f64::from)
}
