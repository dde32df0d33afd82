//! The same questions put to a general solver for mixed-integer programmes.

use good_lp::{Expression, ProblemVariables, Solution, SolverModel, constraint, microlp, variable};
use pointdown_core::trade::cartons::{Capacities, Proof, plan, plan_count};

use super::{Figures, Numbers, figures, hens, net_only};

/// Every legal carton as a column; the solver says which to take.
struct Columns {
    eggs: usize,
    /// Members as bits, size, range.
    all: Vec<(u32, usize, i64)>,
}

impl Columns {
    fn of(tenths: &[i64], sizes: &[u16], dozen: i64) -> Columns {
        let mut all = Vec::new();
        for bits in 1_u32..1 << tenths.len() {
            let size = bits.count_ones() as usize;
            let members = || {
                (0..tenths.len())
                    .filter(|i| bits >> i & 1 == 1)
                    .map(|i| tenths[i])
            };
            let full = sizes.iter().any(|&s| usize::from(s) == size);
            if full && members().sum::<i64>() * 12 >= dozen * size as i64 {
                all.push((
                    bits,
                    size,
                    members().max().unwrap() - members().min().unwrap(),
                ));
            }
        }
        Columns {
            eggs: tenths.len(),
            all,
        }
    }

    /// The least cost of a choice among the columns up to `widest` that packs `packed` eggs in
    /// `cartons` cartons, where given.
    fn least(
        &self,
        cost: impl Fn(usize, i64) -> f64,
        packed: Option<usize>,
        cartons: Option<usize>,
        widest: i64,
    ) -> Option<i64> {
        let columns: Vec<_> = self
            .all
            .iter()
            .filter(|column| column.2 <= widest)
            .collect();
        let mut variables = ProblemVariables::new();
        let take = variables.add_vector(variable().binary(), columns.len());
        let sum = |weight: &dyn Fn(&(u32, usize, i64)) -> f64| -> Expression {
            take.iter()
                .zip(&columns)
                .map(|(&v, column)| weight(column) * v)
                .sum()
        };
        let objective = sum(&|column| cost(column.1, column.2));
        let mut problem = variables.minimise(objective.clone()).using(microlp);
        for egg in 0..self.eggs {
            let uses = sum(&|column| f64::from(column.0 >> egg & 1));
            problem = problem.with(constraint!(uses <= 1.0));
        }
        if let Some(packed) = packed {
            problem = problem.with(constraint!(sum(&|column| column.1 as f64) == packed as f64));
        }
        if let Some(cartons) = cartons {
            problem = problem.with(constraint!(sum(&|_| 1.0) == cartons as f64));
        }
        problem
            .solve()
            .ok()
            .map(|found| found.eval(&objective).round() as i64)
    }

    fn best(&self) -> Figures {
        let any = i64::MAX;
        if self.all.is_empty() {
            return (0, 0, 0, 0);
        }
        let packed = self.least(|size, _| -(size as f64), None, None, any);
        let packed = packed.unwrap().unsigned_abs() as usize;
        let cartons = self.least(|_, _| 1.0, Some(packed), None, any).unwrap() as usize;
        // The least largest range is the least for which the columns up to it still suffice.
        let mut ranges: Vec<i64> = self.all.iter().map(|column| column.2).collect();
        ranges.sort_unstable();
        ranges.dedup();
        let total =
            |widest| self.least(|_, range| range as f64, Some(packed), Some(cartons), widest);
        let at = ranges.partition_point(|&widest| total(widest).is_none());
        (packed, cartons, ranges[at], total(ranges[at]).unwrap())
    }
}

#[test]
fn plans_agree_with_a_general_solver() {
    let mut numbers = Numbers(11);
    let cases: [(&[u16], u64); 6] = [
        (&[3], 10),
        (&[6], 9),
        (&[2, 3], 8),
        (&[4, 6], 11),
        (&[5], 11),
        (&[4], 12),
    ];
    let (mut runs, mut searched) = (0, 0);
    for round in 0..60 {
        let (sizes, most) = cases[round % cases.len()];
        let count = numbers.within(most - 2, most);
        let tenths: Vec<i64> = (0..count)
            .map(|_| numbers.within(544, 620) as i64)
            .collect();
        let dozen = if round % 3 == 0 {
            0
        } else {
            12 * numbers.within(560, 592) as i64
        };
        let weights: Vec<f64> = tenths.iter().map(|&t| t as f64 / 10.0).collect();
        let class = net_only((dozen > 0).then_some(dozen as f64 / 10.0));
        let capacities = Capacities::of_any_size(sizes).unwrap();
        let ours = plan(&hens(&weights), &[class], &capacities, None).unwrap();
        let theirs = Columns::of(&tenths, sizes, dozen).best();
        assert_eq!(
            figures(&ours),
            theirs,
            "{tenths:?} in {sizes:?}, dozen {dozen}"
        );
        match ours.groups[0].proof {
            Proof::Runs => runs += 1,
            Proof::Searched => searched += 1,
            Proof::Bound { .. } => panic!("a case this small is always settled"),
        }
    }
    assert!(runs > 10 && searched > 10, "{runs} {searched}");
}

#[test]
fn count_plans_agree_with_a_general_solver() {
    let mut numbers = Numbers(13);
    for _ in 0..40 {
        let sizes: Vec<u16> = Capacities::STANDARD
            .into_iter()
            .filter(|_| numbers.next().is_multiple_of(2))
            .collect();
        if sizes.is_empty() {
            continue;
        }
        let count = numbers.within(1, 400) as usize;
        let solve = |packed: Option<f64>| {
            let mut variables = ProblemVariables::new();
            let many = variables.add_vector(variable().integer().min(0).max(400), sizes.len());
            let eggs: Expression = many
                .iter()
                .zip(&sizes)
                .map(|(&v, &size)| f64::from(size) * v)
                .sum();
            let cartons: Expression = many.iter().sum();
            let objective = if packed.is_some() {
                cartons
            } else {
                -eggs.clone()
            };
            let mut problem = variables.minimise(objective.clone()).using(microlp);
            problem = problem.with(constraint!(eggs.clone() <= count as f64));
            if let Some(packed) = packed {
                problem = problem.with(constraint!(eggs == packed));
            }
            problem.solve().unwrap().eval(&objective).round()
        };
        let packed = -solve(None);
        let ours = plan_count(count, &Capacities::new(&sizes).unwrap()).unwrap();
        let cartons: usize = ours.cartons.iter().map(|(_, many)| many).sum();
        assert_eq!(
            (count - ours.left_over) as f64,
            packed,
            "{count} in {sizes:?}"
        );
        assert_eq!(cartons as f64, solve(Some(packed)), "{count} in {sizes:?}");
    }
}
