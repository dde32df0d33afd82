//! Cartons by weight and by count.

use pointdown_core::trade::Species;
use pointdown_core::trade::cartons::{
    Capacities, ClassLimits, CountPlan, Egg, Layout, LeftOverReason, Plan, plan, plan_count,
};
use pointdown_core::trade::units::Grams;

use super::{Check, Kind};

const PENNSYLVANIA: &str = "7 Pa. Code § 87.42 (weight classes, reproduces AMS 56.218)";

fn large(net_oz: f64, single_oz: f64) -> ClassLimits {
    ClassLimits {
        name: "Large".into(),
        code: None,
        species: Some(Species::Hen),
        single_min: Some(Grams::from_ounces(single_oz / 12.0)),
        single_below: None,
        net_per_dozen: Some(Grams::from_ounces(net_oz)),
    }
}

fn by_dozen(weights: &[f64], class: ClassLimits) -> Option<Plan> {
    let eggs: Vec<Egg> = weights
        .iter()
        .zip(0..)
        .map(|(&g, tag)| Egg {
            tag,
            species: Species::Hen,
            weight: Grams(g),
            lay_day: None,
        })
        .collect();
    plan(&eggs, &[class], &Capacities::new(&[12]).ok()?, None).ok()
}

/// A value that equals nothing, so that a row that cannot be computed is never right.
fn number(value: Option<usize>) -> f64 {
    value.map_or(f64::NAN, |n| n as f64)
}

fn left(plan: &Option<Plan>, reason: LeftOverReason) -> f64 {
    number(
        plan.as_ref()
            .map(|p| p.left_over.iter().filter(|l| l.reason == reason).count()),
    )
}

fn packed(plan: &Option<Plan>) -> f64 {
    number(
        plan.as_ref()
            .map(|p| p.groups.iter().map(|g| g.measure.packed).sum()),
    )
}

/// The rows.
pub(super) fn rows() -> Vec<Check> {
    // The suite puts the same question to a solver again; this value was computed once.
    let milp = "integer programme solved once with the Python library pulp 3.3.2";
    let of_101: Option<CountPlan> = Capacities::new(&[6, 12, 18])
        .and_then(|sizes| plan_count(101, &sizes))
        .ok();
    let many = |size: u16| {
        number(of_101.as_ref().map(|plan| {
            plan.cartons
                .iter()
                .find(|(s, _)| *s == size)
                .map_or(0, |(_, many)| *many)
        }))
    };
    let over = number(of_101.as_ref().map(|plan| plan.left_over));
    let row = |name: &str, source: &str, kind, expected, got| {
        Check::new(name, source, kind, expected, 0.0, got)
    };
    let mut rows = vec![
        row(
            "101 eggs in 6, 12, 18: cartons of 18",
            milp,
            Kind::Memory,
            5.0,
            many(18),
        ),
        row(
            "101 eggs in 6, 12, 18: cartons of 12",
            milp,
            Kind::Memory,
            0.0,
            many(12),
        ),
        row(
            "101 eggs in 6, 12, 18: cartons of 6",
            milp,
            Kind::Memory,
            1.0,
            many(6),
        ),
        row(
            "101 eggs in 6, 12, 18: eggs left over",
            milp,
            Kind::Memory,
            5.0,
            over,
        ),
    ];
    // Ten eggs of 58 g and two of 53 g: heavy enough together, but two are too light for themselves.
    let mut weights = vec![58.0; 10];
    weights.extend([53.0; 2]);
    let mixed = by_dozen(&weights, large(24.0, 23.0));
    let light = by_dozen(&[56.6; 12], large(24.0, 23.0));
    let exact = by_dozen(&[Grams::from_ounces(2.0).0; 12], large(24.0, 23.0));
    let at_single = |g: f64| by_dozen(&[g], large(24.0, 23.0));
    let limit = Grams::from_ounces(23.0 / 12.0).0;
    let mut class = |name: &str, expected, got| {
        rows.push(row(name, PENNSYLVANIA, Kind::Published, expected, got));
    };
    class(
        "10 eggs of 58 g, 2 of 53 g: too light for Large",
        2.0,
        left(&mixed, LeftOverReason::TooLight),
    );
    class(
        "10 eggs of 58 g, 2 of 53 g: packed as Large",
        0.0,
        packed(&mixed),
    );
    class(
        "12 eggs of 56.6 g: packed as Large (679.2 of 680.4 g)",
        0.0,
        packed(&light),
    );
    class(
        "12 eggs of 56.6 g: left for the net weight",
        12.0,
        left(&light, LeftOverReason::NetWeight),
    );
    class(
        "12 eggs of 2 oz each: packed as Large",
        12.0,
        packed(&exact),
    );
    let (at, under) = (at_single(limit), at_single(limit - 1e-9));
    class(
        "an egg of 23/12 oz is not too light for Large",
        0.0,
        left(&at, LeftOverReason::TooLight),
    );
    class(
        "an egg 1 ng under 23/12 oz is",
        1.0,
        left(&under, LeftOverReason::TooLight),
    );
    let shapes = [(6, 2, 3), (10, 2, 5), (12, 2, 6), (18, 3, 6), (30, 5, 6)];
    for (capacity, rows_of, columns) in shapes {
        let layout = Layout::of(capacity);
        for (what, expected, got) in [
            ("rows", rows_of, layout.rows),
            ("columns", columns, layout.columns),
        ] {
            rows.push(Check::new(
                format!("carton of {capacity}: {what}"),
                "the usual cartons",
                Kind::CommonPractice,
                f64::from(expected),
                0.0,
                f64::from(got),
            ));
        }
    }
    rows
}
