//! Light eggs beside heavy ones, where the net weight does not let light eggs stand alone.

use std::ops::RangeInclusive;

use super::count::Exact;
use super::runs;
use super::score::{Net, Score};
use super::types::Capacities;

/// Egg counts tried below the bound before the runs are kept.
const COUNTS: usize = 24;
/// Halvings of the largest range allowed.
const HALVINGS: usize = 14;

/// Cartons for as many eggs as possible within `counts`, with the least largest range found.
pub(super) fn mixed(
    weights: &[i64],
    capacities: &Capacities,
    net: Net,
    exact: &Exact,
    counts: RangeInclusive<usize>,
) -> Option<Vec<Vec<usize>>> {
    let filled = counts.rev().filter(|&n| n > 0 && exact.fewest(n).is_some());
    for packed in filled.take(COUNTS) {
        // The heaviest eggs leave the most room above the minimum.
        let from = weights.len() - packed;
        let eggs: Vec<usize> = (from..weights.len()).collect();
        let sizes = exact.sizes(packed);
        let within = |range| pair(weights, capacities, net, &eggs, &sizes, range);
        let (mut low, mut high) = (0, weights[weights.len() - 1] - weights[from]);
        let mut best = within(high);
        if best.is_some() {
            for _ in 0..HALVINGS {
                let middle = low + (high - low) / 2;
                match within(middle) {
                    Some(cartons) => {
                        high = Score::of(weights, &cartons).largest.min(middle);
                        best = Some(cartons);
                    }
                    None => low = middle,
                }
            }
        }
        let best = best.or_else(|| level(weights, net, &eggs, &sizes));
        if best.is_some() {
            return best;
        }
    }
    None
}

/// Opens each carton with the lightest egg left, takes as many light eggs as a block of heavier ones
/// within `range` can carry, and that block as light as will do. Once a run of the lightest is
/// heavy enough, all later runs are, and the rest is packed in runs.
fn pair(
    weights: &[i64],
    capacities: &Capacities,
    net: Net,
    eggs: &[usize],
    sizes: &[u16],
    range: i64,
) -> Option<Vec<Vec<usize>>> {
    let mut rest = eggs.to_vec();
    let mut cartons = Vec::new();
    for &size in sizes {
        let size = usize::from(size);
        let mut sums = Vec::with_capacity(rest.len() + 1);
        sums.push(0);
        for &i in &rest {
            sums.push(sums[sums.len() - 1] + weights[i]);
        }
        let lightest = weights[rest[0]];
        let heavy_enough = capacities
            .sizes()
            .iter()
            .map(|&s| usize::from(s))
            .filter(|&s| s <= rest.len())
            .all(|s| net.allows(sums[s], s));
        if heavy_enough {
            let tail: Vec<i64> = rest.iter().map(|&i| weights[i]).collect();
            let runs = runs::best_runs(&tail, capacities, Net(None));
            let fits = runs
                .iter()
                .all(|run| tail[run.end - 1] - tail[run.start] <= range);
            cartons.extend(runs.into_iter().map(|run| rest[run].to_vec()));
            return fits.then_some(cartons);
        }
        let reach = rest.partition_point(|&i| weights[i] - lightest <= range);
        let (light, start) = (1..size).rev().find_map(|light| {
            let block = size - light;
            let last = reach.checked_sub(block)?;
            let enough = |s: usize| net.allows(sums[light] + sums[s + block] - sums[s], size);
            // Later blocks are heavier, so the first that is enough is found by halving.
            let (mut low, mut high) = (light, last);
            if high < low || !enough(high) {
                return None;
            }
            while low < high {
                let middle = low.midpoint(high);
                if enough(middle) {
                    high = middle
                } else {
                    low = middle + 1
                }
            }
            Some((light, low))
        })?;
        let mut carton: Vec<usize> = rest[..light].to_vec();
        carton.extend(rest.drain(start..start + size - light));
        rest.drain(..light);
        cartons.push(carton);
    }
    Some(cartons)
}

/// Spreads the eggs so that every carton weighs about the same over its minimum: the egg farthest
/// from the mean first, a heavy one to the carton worst off, a light one to the carton best off;
/// then changes eggs between the worst and the others while that helps.
fn level(weights: &[i64], net: Net, eggs: &[usize], sizes: &[u16]) -> Option<Vec<Vec<usize>>> {
    let excess =
        |carton: &[usize]| net.excess(carton.iter().map(|&i| weights[i]).sum(), carton.len());
    let mut order = eggs.to_vec();
    order.sort_by_key(|&i| (std::cmp::Reverse(excess(&[i]).abs()), i));
    let mut cartons: Vec<Vec<usize>> = vec![Vec::new(); sizes.len()];
    for egg in order {
        let open = (0..sizes.len()).filter(|&c| cartons[c].len() < usize::from(sizes[c]));
        let carton = if excess(&[egg]) >= 0 {
            open.min_by_key(|&c| (excess(&cartons[c]), c))
        } else {
            open.max_by_key(|&c| (excess(&cartons[c]), std::cmp::Reverse(c)))
        }?;
        cartons[carton].push(egg);
    }
    for _ in 0..4 * sizes.len() {
        let worst = (0..cartons.len()).min_by_key(|&c| (excess(&cartons[c]), c))?;
        let need = excess(&cartons[worst]);
        if need >= 0 {
            for carton in &mut cartons {
                carton.sort_unstable();
            }
            return Some(cartons);
        }
        // The exchange that leaves the worse of the two best off.
        let mut change: Option<(i64, usize, usize, usize)> = None;
        for other in (0..cartons.len()).filter(|&c| c != worst) {
            let spare = excess(&cartons[other]);
            for a in 0..cartons[worst].len() {
                for b in 0..cartons[other].len() {
                    let gain = 12 * (weights[cartons[other][b]] - weights[cartons[worst][a]]);
                    let after = (need + gain).min(spare - gain);
                    if gain > 0 && after > need && change.is_none_or(|(best, ..)| after > best) {
                        change = Some((after, other, a, b));
                    }
                }
            }
        }
        let (_, other, a, b) = change?;
        let egg = cartons[worst][a];
        cartons[worst][a] = cartons[other][b];
        cartons[other][b] = egg;
    }
    None
}
