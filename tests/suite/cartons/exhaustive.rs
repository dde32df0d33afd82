//! Every way of packing a few eggs, tried one by one.

use pointdown_core::trade::cartons::{Capacities, Proof, plan, plan_count};

use super::{Figures, Numbers, figures, hens, net_only};

/// Better is smaller.
type Key = (std::cmp::Reverse<usize>, usize, i64, i64);

struct All<'a> {
    weights: &'a [i64],
    sizes: &'a [u16],
    dozen: i64,
    best: Key,
}

impl All<'_> {
    /// Egg `at` is left over, joins an open carton or opens one; no pruning, no order of weight.
    fn try_egg(&mut self, at: usize, open: &mut Vec<Vec<i64>>) {
        if at == self.weights.len() {
            return self.judge(open);
        }
        let w = self.weights[at];
        self.try_egg(at + 1, open);
        let longest = usize::from(self.sizes.iter().copied().max().unwrap_or(0));
        for i in 0..open.len() {
            if open[i].len() < longest {
                open[i].push(w);
                self.try_egg(at + 1, open);
                open[i].pop();
            }
        }
        open.push(vec![w]);
        self.try_egg(at + 1, open);
        open.pop();
    }

    fn judge(&mut self, cartons: &[Vec<i64>]) {
        let mut key: Key = (std::cmp::Reverse(0), cartons.len(), 0, 0);
        for carton in cartons {
            let full = self.sizes.iter().any(|&s| usize::from(s) == carton.len());
            let net: i64 = carton.iter().sum();
            if !full || net * 12 < self.dozen * carton.len() as i64 {
                return;
            }
            let range = carton.iter().max().unwrap() - carton.iter().min().unwrap();
            key = (
                std::cmp::Reverse(key.0.0 + carton.len()),
                key.1,
                key.2.max(range),
                key.3 + range,
            );
        }
        self.best = self.best.min(key);
    }
}

fn by_trying_all(tenths: &[i64], sizes: &[u16], dozen: i64) -> Figures {
    let mut all = All {
        weights: tenths,
        sizes,
        dozen,
        best: (std::cmp::Reverse(0), 0, 0, 0),
    };
    all.try_egg(0, &mut Vec::new());
    (all.best.0.0, all.best.1, all.best.2, all.best.3)
}

#[test]
fn plans_equal_the_best_of_all_packings() {
    let mut numbers = Numbers(7);
    let sizes: [&[u16]; 6] = [&[2], &[3], &[2, 3], &[3, 4], &[2, 5], &[4]];
    let (mut runs, mut searched, mut by_net) = (0, 0, 0);
    for round in 0..240 {
        let sizes = sizes[round % sizes.len()];
        let count = numbers.within(0, 9) as usize;
        // Half the rounds draw from few weights, so that there are ties.
        let high = if round % 2 == 0 { 560 } else { 640 };
        let tenths: Vec<i64> = (0..count)
            .map(|_| numbers.within(540, high) as i64)
            .collect();
        // From no net weight over one that binds a little to one that nearly nothing meets.
        let dozen = match round % 4 {
            0 => 0,
            1 => 12 * 550,
            2 => 12 * 575,
            _ => 12 * numbers.within(545, high) as i64,
        };
        let weights: Vec<f64> = tenths.iter().map(|&t| t as f64 / 10.0).collect();
        let class = net_only((dozen > 0).then_some(dozen as f64 / 10.0));
        let ours = plan(
            &hens(&weights),
            &[class],
            &Capacities::of_any_size(sizes).unwrap(),
            None,
        );
        let ours = ours.unwrap();
        let best = by_trying_all(&tenths, sizes, dozen);
        assert_eq!(
            figures(&ours),
            best,
            "{tenths:?} in {sizes:?}, dozen {dozen}"
        );
        match ours.groups.first().map(|group| group.proof) {
            Some(Proof::Runs) => runs += 1,
            Some(Proof::Searched) => searched += 1,
            Some(Proof::Bound { .. }) => panic!("a case this small is always settled"),
            None => {}
        }
        let reason = pointdown_core::trade::cartons::LeftOverReason::NetWeight;
        by_net += usize::from(ours.left_over.iter().any(|left| left.reason == reason));
    }
    // The cases must reach every branch, or the test says nothing.
    assert!(
        runs > 40 && searched > 40 && by_net > 20,
        "{runs} {searched} {by_net}"
    );
}

#[test]
fn count_plans_equal_the_best_of_all_counts() {
    let sets: [&[u16]; 6] = [
        &[6],
        &[6, 12, 18],
        &[10, 12],
        &[10, 18, 30],
        &[12, 30],
        &[6, 10],
    ];
    for sizes in sets {
        let capacities = Capacities::new(sizes).unwrap();
        for count in 0..=110_usize {
            let mut best = (count, 0);
            let mut stack = vec![(0_usize, 0_usize, 0_usize)];
            while let Some((from, eggs, cartons)) = stack.pop() {
                best = best.min((count - eggs, cartons));
                for (i, &size) in sizes.iter().enumerate().skip(from) {
                    let eggs = eggs + usize::from(size);
                    if eggs <= count {
                        stack.push((i, eggs, cartons + 1));
                    }
                }
            }
            let ours = plan_count(count, &capacities).unwrap();
            let cartons: usize = ours.cartons.iter().map(|(_, many)| many).sum();
            let eggs: usize = ours
                .cartons
                .iter()
                .map(|(size, many)| usize::from(*size) * many)
                .sum();
            assert_eq!((ours.left_over, cartons), best, "{count} in {sizes:?}");
            assert_eq!(eggs + ours.left_over, count);
        }
    }
}
