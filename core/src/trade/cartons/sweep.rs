//! The exact method where the net weight is in the way, with a limit on the work.
//!
//! The eggs are swept from light to heavy, and a state holds the cartons that are open: size, eggs
//! so far, lightest egg, and the excess over the net weight so far. Each egg joins an open carton,
//! opens one, or, while none is open, is left over. That last restriction loses nothing: an egg left
//! over inside a carton's range could change places with the carton's lightest egg, which makes the
//! carton no wider and only heavier. States that agree are merged and the better score kept; states
//! that cannot beat the best packing known are dropped.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use super::count::Exact;
use super::score::{Net, Score};
use super::types::Capacities;

/// More eggs than this are not swept: the limit on the work would be reached for certain.
const MOST: usize = 60;
/// Steps tried in one pass before it gives up; a few milliseconds.
const WORK: usize = 25_000;
/// An excess that no later egg can spoil.
const ENOUGH: i64 = i64::MAX / 4;

/// What the sweep has settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Settled {
    /// Nothing: there were too many states.
    Nothing,
    /// No packing has more eggs, fewer cartons or a smaller largest range.
    LargestRange,
    /// No packing is better.
    All,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
struct Open {
    size: usize,
    filled: usize,
    lightest: i64,
    excess: i64,
}

/// How a state was reached, at its best.
struct Kept {
    score: Score,
    /// The state before, as an index into its layer.
    before: usize,
    /// The open carton of the state before that the egg joined; the number of them for a new one.
    joined: Option<usize>,
    /// For each open carton, which one of the state before it was, a new one counted last.
    origin: Vec<usize>,
}

/// The states after some eggs.
struct Layer {
    states: Vec<Vec<Open>>,
    kept: Vec<Kept>,
}

struct Sweep<'a> {
    weights: &'a [i64],
    sums: Vec<i64>,
    capacities: &'a Capacities,
    net: Net,
    /// For each number of eggs, the most that fill cartons without a rest.
    most: Vec<usize>,
    most_eggs: usize,
    /// What to beat.
    best: Score,
    /// In the first pass the cost is the largest range, in the second the total.
    by_total: bool,
}

/// The best of all packings, starting from a good one, and how much is settled.
pub(super) fn sweep(
    weights: &[i64],
    capacities: &Capacities,
    net: Net,
    exact: &Exact,
    most_eggs: usize,
    best: Vec<Vec<usize>>,
) -> (Vec<Vec<usize>>, Settled) {
    if weights.len() > MOST {
        return (best, Settled::Nothing);
    }
    let mut sums = vec![0];
    for w in weights {
        sums.push(sums[sums.len() - 1] + w);
    }
    let mut most = vec![0];
    for eggs in 1..=weights.len() {
        let before = most[eggs - 1];
        most.push(if exact.fewest(eggs).is_some() {
            eggs
        } else {
            before
        });
    }
    let mut sweep = Sweep {
        weights,
        sums,
        capacities,
        net,
        most,
        most_eggs,
        best: Score::of(weights, &best),
        by_total: false,
    };
    let mut best = best;
    let mut settled = Settled::Nothing;
    for by_total in [false, true] {
        sweep.by_total = by_total;
        match sweep.pass() {
            None => return (best, settled),
            Some(None) => {}
            Some(Some(better)) => {
                best = better;
                sweep.best = Score::of(weights, &best);
            }
        }
        settled = if by_total {
            Settled::All
        } else {
            Settled::LargestRange
        };
    }
    (best, settled)
}

impl Sweep<'_> {
    /// Sweeps once: `None` if the work is too much, else a better packing if there is one.
    fn pass(&self) -> Option<Option<Vec<Vec<usize>>>> {
        let start = Kept {
            score: Score::default(),
            before: 0,
            joined: None,
            origin: Vec::new(),
        };
        let mut layers = vec![Layer {
            states: vec![Vec::new()],
            kept: vec![start],
        }];
        let mut work = 0;
        for egg in 0..self.weights.len() {
            let layer = self.layer_after(egg, &layers[egg], &mut work)?;
            layers.push(layer);
        }
        let last = &layers[self.weights.len()];
        // Every carton is closed at the end: there is one state or none.
        let better = last
            .kept
            .first()
            .filter(|kept| self.beats_best(&kept.score));
        Some(better.map(|_| cartons(&layers)))
    }

    /// The states after one more egg; `None` if the work is too much.
    fn layer_after(&self, egg: usize, layer: &Layer, work: &mut usize) -> Option<Layer> {
        let mut index: HashMap<Vec<Open>, usize> = HashMap::new();
        let mut kept: Vec<Kept> = Vec::new();
        for (before, state) in layer.states.iter().enumerate() {
            let choices = state.len() + self.capacities.sizes().len();
            *work += choices;
            if *work > WORK {
                return None;
            }
            let left_over = state.is_empty().then_some(None);
            for joined in left_over.into_iter().chain((0..choices).map(Some)) {
                // Of two cartons in the same state one stands for both.
                if joined.is_some_and(|j| j > 0 && j < state.len() && state[j] == state[j - 1]) {
                    continue;
                }
                let Some((open, score)) = self.step(egg, state, layer.kept[before].score, joined)
                else {
                    continue;
                };
                let (open, origin) = open.into_iter().unzip();
                let new = Kept {
                    score,
                    before,
                    joined: joined.map(|j| j.min(state.len())),
                    origin,
                };
                match index.entry(open) {
                    Entry::Vacant(slot) => {
                        slot.insert(kept.len());
                        kept.push(new);
                    }
                    Entry::Occupied(slot) => {
                        let old = &mut kept[*slot.get()];
                        if new.score.beats(&old.score) {
                            *old = new;
                        }
                    }
                }
            }
        }
        let mut states = vec![Vec::new(); kept.len()];
        for (state, i) in index {
            states[i] = state;
        }
        Some(Layer { states, kept })
    }

    fn beats_best(&self, score: &Score) -> bool {
        let mut score = *score;
        if !self.by_total {
            // The total is not counted in this pass; an equal largest range is no gain.
            score.total = self.best.total;
        } else {
            score.largest = self.best.largest;
        }
        score.beats(&self.best)
    }

    /// The state after an egg, each carton with the index it had, unless the state is illegal or
    /// cannot beat the best.
    fn step(
        &self,
        egg: usize,
        state: &[Open],
        mut score: Score,
        joined: Option<usize>,
    ) -> Option<(Vec<(Open, usize)>, Score)> {
        let w = self.weights[egg];
        let mut open: Vec<(Open, usize)> = state.iter().copied().zip(0..).collect();
        if let Some(j) = joined {
            if let Some(new) = j.checked_sub(state.len()) {
                let carton = Open {
                    size: usize::from(self.capacities.sizes()[new]),
                    filled: 0,
                    lightest: w,
                    excess: 0,
                };
                open.push((carton, state.len()));
            }
            let j = j.min(state.len());
            let carton = &mut open[j].0;
            carton.filled += 1;
            if carton.excess < ENOUGH {
                carton.excess += self.net.excess(w, 1);
            }
            let range = w - carton.lightest;
            if self.by_total && range > self.best.largest {
                return None;
            }
            if carton.filled == carton.size {
                if carton.excess < 0 {
                    return None;
                }
                score.packed += carton.size;
                score.cartons += 1;
                if self.by_total {
                    score.total += range;
                } else {
                    score.largest = score.largest.max(range);
                }
                open.remove(j);
            }
        }
        self.hopeful(egg + 1, &mut open, &score)
            .then_some((open, score))
    }

    /// Whether the open cartons can be filled from the eggs at and after `next` and the whole can
    /// still beat the best. Marks the cartons that no later egg can leave too light.
    fn hopeful(&self, next: usize, open: &mut [(Open, usize)], score: &Score) -> bool {
        let end = self.weights.len();
        let wanted: usize = open
            .iter()
            .map(|(carton, _)| carton.size - carton.filled)
            .sum();
        if wanted > end - next {
            return false;
        }
        let begun = score.packed + open.iter().map(|(carton, _)| carton.size).sum::<usize>();
        let packed = (begun + self.most[end - next - wanted]).min(self.most_eggs);
        let largest = usize::from(self.capacities.sizes()[0]);
        let mut bound = Score {
            packed,
            cartons: score.cartons + open.len() + packed.saturating_sub(begun).div_ceil(largest),
            ..*score
        };
        // Ties in eggs and cartons: only a smaller range is of use, and this wide is too wide.
        let tied = (bound.packed, bound.cartons) == (self.best.packed, self.best.cartons);
        let widest = match (self.by_total, tied) {
            (true, _) => self.best.largest,
            (false, true) => self.best.largest - 1,
            (false, false) => i64::MAX / 2,
        };
        if next < end {
            let w = self.weights[next];
            let each = self.net.excess(w, 1);
            let (mut lack, mut slots, mut reach) = (0, 0, next);
            for (carton, _) in open.iter_mut() {
                let room = carton.size - carton.filled;
                let so_far = w - carton.lightest;
                if so_far > widest {
                    return false;
                }
                if self.by_total {
                    bound.total += so_far;
                } else {
                    bound.largest = bound.largest.max(so_far);
                }
                if carton.excess == ENOUGH {
                    continue;
                }
                if carton.excess + each * room as i64 >= 0 {
                    carton.excess = ENOUGH;
                    continue;
                }
                let within = self
                    .weights
                    .partition_point(|&v| v - carton.lightest <= widest);
                if !self.carries(next, within, room, carton.excess) {
                    return false;
                }
                lack += carton.excess;
                slots += room;
                reach = reach.max(within);
            }
            // Together they cannot all have the same heavy eggs.
            if slots > 0 && !self.carries(next, reach, slots, lack) {
                return false;
            }
        }
        open.sort_unstable();
        self.beats_best(&bound)
    }

    /// Whether the heaviest `room` eggs of `next..within` make up for what is lacking.
    fn carries(&self, next: usize, within: usize, room: usize, excess: i64) -> bool {
        within >= next + room && {
            let sum = self.sums[within] - self.sums[within - room];
            excess + self.net.excess(sum, room) >= 0
        }
    }
}

/// The cartons on the way to the only state of the last layer.
fn cartons(layers: &[Layer]) -> Vec<Vec<usize>> {
    let mut way = Vec::with_capacity(layers.len());
    let mut at = 0;
    for layer in layers[1..].iter().rev() {
        way.push(&layer.kept[at]);
        at = layer.kept[at].before;
    }
    let mut done = Vec::new();
    let mut open: Vec<Vec<usize>> = Vec::new();
    for (egg, kept) in way.into_iter().rev().enumerate() {
        if let Some(j) = kept.joined {
            if j == open.len() {
                open.push(Vec::new());
            }
            open[j].push(egg);
            if !kept.origin.contains(&j) {
                done.push(std::mem::take(&mut open[j]));
            }
        }
        open = kept
            .origin
            .iter()
            .map(|&i| std::mem::take(&mut open[i]))
            .collect();
    }
    done
}
