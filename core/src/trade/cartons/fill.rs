//! Filling cartons from eggs of one species and class, as whole numbers.

use super::count::Exact;
use super::score::{Net, Score, grams};
use super::sweep::{Settled, sweep};
use super::types::{Capacities, Proof};
use super::{bounds, mixed, runs};

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
