//! Weights and the worth of a filling, as whole numbers.
//!
//! Weights are whole picograms: finer than the spacing of `f64` values at an egg's weight, so a limit
//! such as 23/12 oz and a sum of twelve weights compare exactly.

use super::types::Measure;
use crate::trade::units::Grams;

const PICOGRAMS: f64 = 1e12;

/// Whole picograms.
pub(super) fn picograms(weight: Grams) -> i64 {
    (weight.0 * PICOGRAMS).round() as i64
}

pub(super) fn grams(picograms: i64) -> Grams {
    Grams(picograms as f64 / PICOGRAMS)
}

/// The least net weight of a dozen, in picograms.
#[derive(Debug, Clone, Copy)]
pub(super) struct Net(pub(super) Option<i64>);

impl Net {
    /// Whether `size` eggs that weigh `sum` together are enough.
    pub(super) fn allows(self, sum: i64, size: usize) -> bool {
        self.excess(sum, size) >= 0
    }

    /// Twelve times what `size` eggs weigh over their minimum.
    pub(super) fn excess(self, sum: i64, size: usize) -> i64 {
        self.0.map_or(0, |dozen| sum * 12 - dozen * size as i64)
    }
}

/// [`Measure`] in picograms.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Score {
    pub(super) packed: usize,
    pub(super) cartons: usize,
    pub(super) largest: i64,
    pub(super) total: i64,
}

impl Score {
    fn key(&self) -> (std::cmp::Reverse<usize>, usize, i64, i64) {
        (
            std::cmp::Reverse(self.packed),
            self.cartons,
            self.largest,
            self.total,
        )
    }

    /// Whether this is better, in the order of the module's objective.
    pub(super) fn beats(&self, other: &Score) -> bool {
        self.key() < other.key()
    }

    /// The score of cartons given as indices into the sorted weights.
    pub(super) fn of(weights: &[i64], cartons: &[Vec<usize>]) -> Score {
        let mut score = Score {
            cartons: cartons.len(),
            ..Score::default()
        };
        for carton in cartons {
            let lightest = carton.iter().map(|&i| weights[i]).min().unwrap_or(0);
            let heaviest = carton.iter().map(|&i| weights[i]).max().unwrap_or(0);
            score.packed += carton.len();
            score.largest = score.largest.max(heaviest - lightest);
            score.total += heaviest - lightest;
        }
        score
    }

    pub(super) fn measure(&self) -> Measure {
        Measure {
            packed: self.packed,
            cartons: self.cartons,
            largest_range: grams(self.largest),
            total_range: grams(self.total),
        }
    }
}
