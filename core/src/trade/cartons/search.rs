//! A complete search for small cases, with a limit on the work.

use super::count::Exact;
use super::fill::{Net, Score};
use super::types::Capacities;

/// More eggs than this are not searched: the limit on the work would be reached for certain.
const MOST: usize = 30;
/// Choices tried before the search gives up.
const WORK: usize = 400_000;

struct Search<'a> {
    weights: &'a [i64],
    capacities: &'a Capacities,
    net: Net,
    exact: &'a Exact,
    most_eggs: usize,
    free: Vec<bool>,
    left: usize,
    now: Vec<Vec<usize>>,
    score: Score,
    best: Vec<Vec<usize>>,
    best_score: Score,
    work: usize,
}

/// The best of all packings, starting from a good one, and whether all of them were ruled out.
pub(super) fn search(
    weights: &[i64],
    capacities: &Capacities,
    net: Net,
    exact: &Exact,
    most_eggs: usize,
    best: Vec<Vec<usize>>,
) -> (Vec<Vec<usize>>, bool) {
    if weights.len() > MOST {
        return (best, false);
    }
    let mut search = Search {
        weights,
        capacities,
        net,
        exact,
        most_eggs,
        free: vec![true; weights.len()],
        left: 0,
        now: Vec::new(),
        score: Score::default(),
        best_score: Score::of(weights, &best),
        best,
        work: 0,
    };
    search.lightest(0);
    let complete = search.work <= WORK;
    (search.best, complete)
}

impl Search<'_> {
    /// Whether nothing from here on can beat the best so far.
    fn hopeless(&self) -> bool {
        let reach = self.weights.len() - self.left;
        let most = self.exact.most(reach).min(self.most_eggs);
        let largest = usize::from(self.capacities.sizes()[0]);
        let bound = Score {
            packed: most,
            cartons: self.score.cartons + most.saturating_sub(self.score.packed).div_ceil(largest),
            ..self.score
        };
        self.work > WORK || !bound.beats(&self.best_score)
    }

    /// Decides the lightest free egg at or after `from`: which carton it opens, or left over.
    fn lightest(&mut self, from: usize) {
        self.work += 1;
        if self.score.beats(&self.best_score) {
            self.best = self.now.clone();
            self.best_score = self.score;
        }
        let Some(egg) = (from..self.weights.len()).find(|&i| self.free[i]) else {
            return;
        };
        if self.hopeless() {
            return;
        }
        self.free[egg] = false;
        for i in 0..self.capacities.sizes().len() {
            let size = usize::from(self.capacities.sizes()[i]);
            self.mates(&mut vec![egg], size);
        }
        self.left += 1;
        self.lightest(egg + 1);
        self.left -= 1;
        self.free[egg] = true;
    }

    /// Fills an open carton with every choice of heavier eggs.
    fn mates(&mut self, carton: &mut Vec<usize>, size: usize) {
        self.work += 1;
        if self.work > WORK {
            return;
        }
        let (first, last) = (carton[0], carton[carton.len() - 1]);
        if carton.len() == size {
            let sum = carton.iter().map(|&i| self.weights[i]).sum();
            if self.net.allows(sum, size) {
                let before = self.score;
                let range = self.weights[last] - self.weights[first];
                self.score.packed += size;
                self.score.cartons += 1;
                self.score.largest = self.score.largest.max(range);
                self.score.total += range;
                self.now.push(carton.clone());
                self.lightest(first + 1);
                self.now.pop();
                self.score = before;
            }
            return;
        }
        let mut tried = None;
        for i in last + 1..self.weights.len() {
            // Of eggs of one weight the first free one stands for all.
            if !self.free[i] || tried == Some(self.weights[i]) {
                continue;
            }
            tried = Some(self.weights[i]);
            self.free[i] = false;
            carton.push(i);
            self.mates(carton, size);
            carton.pop();
            self.free[i] = true;
        }
    }
}
