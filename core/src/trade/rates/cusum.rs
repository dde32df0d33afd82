//! Cumulative sums, and how long they run.

use serde::Serialize;

use super::error::{RatesError, between};

/// The two sums after a value.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Sums {
    /// What the values lie above the target, less the slack, summed from the last zero.
    pub high: f64,
    /// What they lie below it.
    pub low: f64,
    /// Whether either sum is over the decision limit.
    pub alarm: bool,
}

/// A tabular CUSUM with fixed limits. Source: NIST/SEMATECH e-Handbook of Statistical Methods,
/// 6.3.2.3.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    /// The target.
    pub target: f64,
    /// The slack, half the shift to be found.
    pub slack: f64,
    /// The decision limit.
    pub limit: f64,
}

impl Cusum {
    /// The sums after each value; an unknown value leaves them as they are.
    pub fn run(&self, values: &[Option<f64>]) -> Vec<Sums> {
        let mut sums = Sums::default();
        let step = |value: &Option<f64>| {
            if let Some(x) = value {
                sums.high = (x - self.target - self.slack + sums.high).max(0.0);
                sums.low = (self.target - self.slack - x + sums.low).max(0.0);
                sums.alarm = sums.high > self.limit || sums.low > self.limit;
            }
            sums
        };
        values.iter().map(step).collect()
    }
}

/// The reference value between two mean counts that tells them apart fastest:
/// (μ1 − μ0) ÷ (ln μ1 − ln μ0). Source: Technometrics 27:129–141 (1985).
///
/// # Errors
/// [`RatesError::Number`] unless both means are positive and differ.
pub fn reference_value(mean: f64, other_mean: f64) -> Result<f64, RatesError> {
    between("mean", mean, f64::MIN_POSITIVE, 1e9, "more than 0")?;
    between(
        "other_mean",
        other_mean,
        f64::MIN_POSITIVE,
        1e9,
        "more than 0",
    )?;
    if mean == other_mean {
        return Err(RatesError::Number {
            field: "other_mean",
            value: other_mean,
            allowed: "a mean that differs from the first",
        });
    }
    Ok((other_mean - mean) / (other_mean.ln() - mean.ln()))
}

/// Run lengths of a one-sided sum S ← max(0, S + d) in whole steps, where the increments d are
/// independent and an alarm is S over the limit.
///
/// The sum is a Markov chain on 0 to the limit, so its run length follows exactly: the mean solves
/// (I − Q) L = 1, and Qᵗ gives the chance of an alarm by day t. Source: Biometrika 59:539–549 (1972).
#[derive(Debug, Clone)]
pub struct RunLengths {
    /// `rows[s][t]`: the chance to go from s to t without an alarm.
    rows: Vec<Vec<f64>>,
}

impl RunLengths {
    /// The chain for a limit in steps. `at_most(d)` is the chance of an increment of d or less.
    pub fn new(limit: usize, at_most: impl Fn(i64) -> f64) -> RunLengths {
        let size = limit as i64 + 1;
        // Increments from −limit to +limit, once each.
        let cumulated: Vec<f64> = (-size..size).map(at_most).collect();
        let chance = |d: i64| cumulated[(d + size) as usize];
        let row = |s: i64| {
            let step = |t: i64| {
                let below = if t == 0 { 0.0 } else { chance(t - s - 1) };
                (chance(t - s) - below).max(0.0)
            };
            (0..size).map(step).collect()
        };
        RunLengths {
            rows: (0..size).map(row).collect(),
        }
    }

    /// The mean number of days up to and with the alarm, from a sum of zero; infinite if the alarm
    /// never comes.
    pub fn mean(&self) -> f64 {
        let size = self.rows.len();
        let mut a: Vec<Vec<f64>> = self.rows.clone();
        for (i, row) in a.iter_mut().enumerate() {
            row.iter_mut().for_each(|x| *x = -*x);
            row[i] += 1.0;
            row.push(1.0);
        }
        // I − Q is an M-matrix: elimination from the last state up needs no exchange of rows.
        for pivot in (1..size).rev() {
            let (above, rest) = a.split_at_mut(pivot);
            let lower = &rest[0];
            for row in above {
                let factor = row[pivot] / lower[pivot];
                if factor != 0.0 {
                    for column in (0..pivot).chain([size]) {
                        row[column] -= factor * lower[column];
                    }
                }
            }
        }
        let left = a[0][0];
        if left > 1e-14 {
            a[0][size] / left
        } else {
            f64::INFINITY
        }
    }

    /// The chance of an alarm within this many days, from a sum of zero.
    pub fn alarm_within(&self, days: u32) -> f64 {
        let mut now = vec![0.0; self.rows.len()];
        now[0] = 1.0;
        for _ in 0..days {
            let mut next = vec![0.0; now.len()];
            for (chance, row) in now.iter().zip(&self.rows) {
                for (sum, step) in next.iter_mut().zip(row) {
                    *sum += chance * step;
                }
            }
            now = next;
        }
        (1.0 - now.iter().sum::<f64>()).clamp(0.0, 1.0)
    }
}
