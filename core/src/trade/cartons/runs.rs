//! The dynamic programme over eggs sorted by weight.

use super::score::{Net, Score};
use super::types::Capacities;

/// Runs as `start..end` over the sorted weights, the lightest first.
pub(super) type Runs = Vec<std::ops::Range<usize>>;

#[derive(Clone, Copy)]
enum Range {
    /// The cost is the largest range.
    Largest,
    /// The cost is the total of the ranges, none over this.
    TotalWithin(i64),
}

/// The best packing in runs of neighbours that keep the net weight, if one is set.
pub(super) fn best_runs(weights: &[i64], capacities: &Capacities, net: Net) -> Runs {
    let (_, largest) = pass(weights, capacities, net, Range::Largest);
    pass(weights, capacities, net, Range::TotalWithin(largest)).0
}

fn pass(weights: &[i64], capacities: &Capacities, net: Net, range: Range) -> (Runs, i64) {
    let mut sums = vec![0_i64];
    for w in weights {
        sums.push(sums[sums.len() - 1] + w);
    }
    // For the first i eggs: the best score, and the size of the run that ends at egg i (0: left).
    let mut best: Vec<(Score, usize)> = vec![(Score::default(), 0)];
    for end in 1..=weights.len() {
        let mut here = (best[end - 1].0, 0);
        for &size in capacities.sizes() {
            let size = usize::from(size);
            let Some(start) = end.checked_sub(size) else {
                continue;
            };
            let spread = weights[end - 1] - weights[start];
            let too_wide = matches!(range, Range::TotalWithin(most) if spread > most);
            if too_wide || !net.allows(sums[end] - sums[start], size) {
                continue;
            }
            let mut score = best[start].0;
            score.packed += size;
            score.cartons += 1;
            match range {
                Range::Largest => score.largest = score.largest.max(spread),
                Range::TotalWithin(_) => score.total += spread,
            }
            if score.beats(&here.0) {
                here = (score, size);
            }
        }
        best.push(here);
    }
    let largest = best[weights.len()].0.largest;
    let mut runs = Runs::new();
    let mut end = weights.len();
    while end > 0 {
        match best[end].1 {
            0 => end -= 1,
            size => {
                runs.push(end - size..end);
                end -= size;
            }
        }
    }
    runs.reverse();
    (runs, largest)
}
