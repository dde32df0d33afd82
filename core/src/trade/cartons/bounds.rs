//! What no packing can do better, by counting weight alone.

use super::count::Exact;
use super::score::Net;

/// The most eggs that fill cartons and whose heaviest choice is heavy enough on the whole. Every
/// carton at its minimum makes the whole at its minimum, so no packing holds more.
pub(super) fn most_eggs(weights: &[i64], exact: &Exact, net: Net) -> usize {
    let mut sum = 0;
    let mut most = 0;
    for (i, w) in weights.iter().rev().enumerate() {
        sum += w;
        if exact.fewest(i + 1).is_some() && net.allows(sum, i + 1) {
            most = i + 1;
        }
    }
    most
}

/// A range that the widest carton reaches in every packing of `packed` eggs.
///
/// Take any weight t. The cartons that hold the packed eggs up to t hold nothing heavier than t and
/// the largest range, and together they are not under their minimum. So what those eggs lack must be
/// found among the eggs between t and t + range, even when the lightest are the ones left over.
pub(super) fn least_range(weights: &[i64], net: Net, packed: usize) -> i64 {
    let from = weights.len() - packed;
    let excess: Vec<i64> = weights.iter().map(|&w| net.excess(w, 1)).collect();
    // What the eggs above their share bring, summed up to each egg.
    let mut spare = vec![0];
    for &e in &excess {
        spare.push(spare[spare.len() - 1] + e.max(0));
    }
    let enough = |range: i64| {
        let (mut lack, mut end) = (0, 0);
        (from..weights.len()).all(|t| {
            lack += excess[t];
            while end < weights.len() && weights[end] <= weights[t] + range {
                end += 1;
            }
            lack + spare[end] - spare[t + 1] >= 0
        })
    };
    let (mut low, mut high) = (0, weights[weights.len() - 1] - weights[0]);
    while low < high {
        let middle = low.midpoint(high);
        if enough(middle) {
            high = middle
        } else {
            low = middle + 1
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::super::count::Exact;
    use super::super::fill::fill;
    use super::super::score::Net;
    use super::super::types::{Capacities, Proof};

    /// Bounds are hidden once a packing is settled, so they are held against it here.
    #[test]
    fn no_settled_packing_beats_a_bound() {
        let mut state = 3_u64;
        let mut draw = |span: u64| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 33) % span
        };
        let mut binding = 0;
        for round in 0..60 {
            let sizes: &[u16] = [&[3][..], &[4], &[2, 5], &[6], &[12]][round % 5];
            let capacities = Capacities::of_any_size(sizes).expect("sizes are allowed");
            let mut weights: Vec<i64> = (0..24).map(|_| 540 + draw(80) as i64).collect();
            weights.sort_unstable();
            let net = Net(Some(12 * (560 + draw(20) as i64)));
            let exact = Exact::up_to(weights.len(), &capacities);
            let most = super::most_eggs(&weights, &exact, net);
            let filling = fill(&weights, &capacities, net);
            if filling.proof != Proof::Searched {
                continue;
            }
            let score = filling.score;
            assert!(score.packed <= most);
            let least = super::least_range(&weights, net, score.packed);
            assert!(least <= score.largest, "{weights:?} {net:?} {sizes:?}");
            binding += usize::from(least > 0);
        }
        assert!(binding > 10, "{binding}");
    }
}
