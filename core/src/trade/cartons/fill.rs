//! Filling cartons from eggs of one species and class, as whole numbers.
//!
//! Weights are whole picograms: finer than the spacing of `f64` values at an egg's weight, so a limit
//! such as 23/12 oz and a sum of twelve weights compare exactly.

use super::count::Exact;
use super::sweep::{Settled, sweep};
use super::types::{Capacities, Measure, Proof};
use super::{bounds, mixed, runs};
use crate::trade::units::Grams;

const PICOGRAMS: f64 = 1e12;

/// Whole picograms.
pub(super) fn picograms(weight: Grams) -> i64 {
    (weight.0 * PICOGRAMS).round() as i64
}

fn grams(picograms: i64) -> Grams {
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

/// Cartons as indices into the sorted weights.
pub(super) struct Filling {
    pub(super) cartons: Vec<Vec<usize>>,
    pub(super) score: Score,
    pub(super) proof: Proof,
    /// Eggs that the count alone leaves over.
    pub(super) rest: usize,
}

/// The best cartons from weights sorted upwards.
pub(super) fn fill(weights: &[i64], capacities: &Capacities, net: Net) -> Filling {
    let exact = Exact::up_to(weights.len(), capacities);
    let rest = weights.len() - exact.most(weights.len());
    let as_cartons =
        |runs: runs::Runs| -> Vec<Vec<usize>> { runs.into_iter().map(Iterator::collect).collect() };
    let free = as_cartons(runs::best_runs(weights, capacities, Net(None)));
    let free_score = Score::of(weights, &free);
    let done = |cartons: Vec<Vec<usize>>, proof| Filling {
        score: Score::of(weights, &cartons),
        cartons,
        proof,
        rest,
    };
    if net.0.is_none() {
        return done(free, Proof::Runs);
    }
    let mut best = as_cartons(runs::best_runs(weights, capacities, net));
    if Score::of(weights, &best) == free_score {
        return done(best, Proof::Runs);
    }
    let most_eggs = bounds::most_eggs(weights, &exact, net);
    let least = Score::of(weights, &best).packed;
    if let Some(other) = mixed::mixed(weights, capacities, net, &exact, least..=most_eggs)
        && Score::of(weights, &other).beats(&Score::of(weights, &best))
    {
        best = other;
    }
    let (best, settled) = sweep(weights, capacities, net, &exact, most_eggs, best);
    let score = Score::of(weights, &best);
    let least_range = match settled {
        Settled::All => return done(best, Proof::Searched),
        Settled::LargestRange => score.largest,
        Settled::Nothing => {
            // With as many eggs and cartons, the runs that ignore the weight are a bound too.
            let same = (score.packed, score.cartons) == (free_score.packed, free_score.cartons);
            let by_runs = if same { free_score.largest } else { 0 };
            bounds::least_range(weights, net, score.packed).max(by_runs)
        }
    };
    let proof = Proof::Bound {
        most_eggs,
        fewest_cartons: exact.fewest(most_eggs).unwrap_or(0),
        least_range: grams(least_range),
    };
    done(best, proof)
}
