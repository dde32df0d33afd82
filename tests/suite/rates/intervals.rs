use pointdown_core::trade::rates::{
    Counts, Cull, Gathered, Proportion, RatesError, compare, compare_with_the_rest, cull_shares,
    fisher_two_sided, holm,
};
use proptest::prelude::*;
use statrs::distribution::{Binomial, Discrete, DiscreteCDF, NegativeBinomial, Poisson};

use crate::cartons::Numbers;

fn share(events: u64, of: u64) -> Proportion {
    Proportion::new(events, of).unwrap()
}

#[test]
fn impossible_shares_are_refused() {
    assert_eq!(
        Proportion::new(0, 0),
        Err(RatesError::Share { events: 0, of: 0 })
    );
    assert_eq!(
        Proportion::new(4, 3),
        Err(RatesError::Share { events: 4, of: 3 })
    );
    for confidence in [0.0, 1.0, -0.5, f64::NAN] {
        assert!(
            share(1, 3)
                .wilson(confidence)
                .unwrap_err()
                .to_string()
                .contains("confidence")
        );
    }
}

/// The exact interval covers at least as often as it says, the Wilson interval nearly so on the
/// average: summed over all outcomes, not simulated.
#[test]
fn intervals_cover_as_they_say() {
    let of = 40;
    let (mut wilson_sum, mut points) = (0.0, 0);
    for percent in (2..=98).step_by(3) {
        let p = f64::from(percent) / 100.0;
        let law = Binomial::new(p, of).unwrap();
        let covered = |interval: &dyn Fn(Proportion) -> (f64, f64)| -> f64 {
            let holds = |x: &u64| {
                let (low, high) = interval(share(*x, of));
                (low..=high).contains(&p)
            };
            (0..=of).filter(holds).map(|x| law.pmf(x)).sum()
        };
        let exact = covered(&|s| {
            let i = s.exact(0.95).unwrap();
            (i.low, i.high)
        });
        assert!(exact >= 0.95, "{percent} %: {exact}");
        wilson_sum += covered(&|s| {
            let i = s.wilson(0.95).unwrap();
            (i.low, i.high)
        });
        points += 1;
    }
    let wilson = wilson_sum / f64::from(points);
    assert!((0.94..0.97).contains(&wilson), "{wilson}");
}

/// The chance of `k` or fewer from the ratios of neighbouring chances, out from the middle both ways.
fn summed(law: Counts, k: u64) -> f64 {
    let ratio = |at: f64| match law {
        Counts::Binomial { n, p } => (n as f64 - at) / (at + 1.0) * p / (1.0 - p),
        Counts::Poisson { mean } => mean / (at + 1.0),
        Counts::NegativeBinomial { r, p } => (at + r) / (at + 1.0) * (1.0 - p),
    };
    let middle = law.mean().floor();
    let (mut all, mut low) = (0.0, 0.0);
    let mut add = |at: f64, weight: f64| {
        all += weight;
        low += if at <= k as f64 { weight } else { 0.0 };
    };
    let (mut at, mut weight) = (middle, 1.0);
    while weight > 1e-20 {
        add(at, weight);
        weight *= ratio(at);
        at += 1.0;
    }
    let (mut at, mut weight) = (middle, 1.0);
    while at > 0.0 && weight > 1e-20 {
        at -= 1.0;
        weight /= ratio(at);
        add(at, weight);
    }
    low / all
}

proptest! {
    #[test]
    fn intervals_hold_the_share_and_mirror(of in 1..500_u64, part in 0.0..=1.0_f64) {
        let events = (of as f64 * part).round() as u64;
        let (here, mirror) = (share(events, of), share(of - events, of));
        let wide = here.wilson_corrected(0.95).unwrap();
        let narrow = here.wilson(0.95).unwrap();
        prop_assert!(wide.low <= narrow.low && narrow.high <= wide.high);
        for (a, b) in [
            (here.wilson(0.95).unwrap(), mirror.wilson(0.95).unwrap()),
            (wide, mirror.wilson_corrected(0.95).unwrap()),
            (here.exact(0.95).unwrap(), mirror.exact(0.95).unwrap()),
        ] {
            prop_assert!(a.low <= here.share() + 1e-12 && here.share() <= a.high + 1e-12);
            prop_assert!((a.low - (1.0 - b.high)).abs() < 1e-9);
        }
        let sure = here.wilson(0.99).unwrap();
        prop_assert!(sure.low <= narrow.low && narrow.high <= sure.high);
    }

    #[test]
    fn laws_have_the_mean_and_the_scatter_asked_for(mean in 0.5..300.0_f64, phi in 0.1..4.0_f64) {
        let law = Counts::new(mean, phi).unwrap();
        prop_assert!((law.mean() - mean).abs() < 1e-9 * mean);
        let variance = law.deviation().powi(2);
        // A dispersion within a thousandth of 1 is taken as 1; rounding the binomial's trials up
        // widens it by at most one trial's share.
        let slack = 1e-3 * mean + 1e-9;
        prop_assert!(variance >= phi * mean - slack, "{variance}");
        prop_assert!(variance <= phi * mean + slack + (1.0 - phi).max(0.0), "{variance}");
        let (low, high) = law.range(0.9);
        prop_assert!(law.at_most(high) >= 0.95);
        prop_assert!(low == 0 || law.at_most(low - 1) < 0.05);
        prop_assert!((law.at_most(high) + law.at_least(high + 1) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn laws_agree_with_an_independent_library(
        mean in 0.1..2_000.0_f64, phi in 0.1..6.0_f64, at in -4.0..4.0_f64,
    ) {
        let law = Counts::new(mean, phi).unwrap();
        let k = (mean + at * law.deviation()).round().max(0.0) as u64;
        let theirs = match law {
            Counts::Binomial { n, p } => Binomial::new(p, n).unwrap().cdf(k),
            Counts::Poisson { mean } => Poisson::new(mean).unwrap().cdf(k),
            Counts::NegativeBinomial { r, p } => NegativeBinomial::new(r, p).unwrap().cdf(k),
        };
        prop_assert!((law.at_most(k) - theirs).abs() < 1e-6, "{law:?} {k}: {theirs}");
        let poisson = Counts::new(mean, 1.0).unwrap();
        let theirs = Poisson::new(mean).unwrap().cdf(k);
        prop_assert!((poisson.at_most(k) - theirs).abs() < 1e-6, "{mean} {k}: {theirs}");
    }

    /// Up to the eggs of a month of a large flock. There the library is the less exact one (off by
    /// more than 1e-5 near Poisson), so the chances are summed up one by one instead.
    #[test]
    fn laws_of_many_eggs_agree_with_a_plain_sum(
        mean in 0.1..60_000.0_f64, phi in prop_oneof![0.1..6.0_f64, 0.99..1.01_f64],
        at in -4.0..4.0_f64,
    ) {
        let law = Counts::new(mean, phi).unwrap();
        let k = (mean + at * law.deviation()).round().max(0.0) as u64;
        let summed = summed(law, k);
        prop_assert!((law.at_most(k) - summed).abs() < 1e-7, "{law:?} {k}: {summed}");
    }

    #[test]
    fn holm_never_lowers_a_p_value_and_keeps_the_order(p in prop::collection::vec(0.0..1.0_f64, 1..9)) {
        let corrected = holm(&p);
        for i in 0..p.len() {
            prop_assert!(corrected[i] >= p[i] && corrected[i] <= 1.0);
            for j in 0..p.len() {
                prop_assert!(p[i] > p[j] || corrected[i] <= corrected[j]);
            }
        }
    }
}

#[test]
fn luck_and_more_than_luck() {
    let few = compare("north", share(3, 60), share(1, 60), 0.05).unwrap();
    assert!(
        !few.more_than_luck && few.why.contains("luck may explain"),
        "{}",
        few.why
    );
    assert!(few.interval.low < 0.0 && few.interval.high > 0.0);
    let many = compare("north", share(30, 600), share(5, 600), 0.05).unwrap();
    assert!(many.more_than_luck && many.difference > 0.0 && many.interval.low > 0.0);
    let finding = many.finding();
    assert!(finding.value && finding.why[0].source.contains("Fisher"));
    assert!(!finding.caution.is_empty() && !few.finding().value);
    assert!((fisher_two_sided(share(5, 600), share(30, 600)) - many.p_value).abs() < 1e-12);
    assert!((fisher_two_sided(share(0, 5), share(0, 9)) - 1.0).abs() < 1e-12);
}

/// Six coops that are all alike: at the level of 5 % at most about 5 of 100 farms hear of a coop
/// that differs.
#[test]
fn many_coops_do_not_make_false_calls() {
    let mut numbers = Numbers(5);
    let farms = 400;
    let mut called = 0;
    for _ in 0..farms {
        let coops: Vec<(String, Proportion)> = (0..6)
            .map(|coop| {
                let events = (0..150).filter(|_| numbers.unit() < 0.06).count() as u64;
                (format!("coop {coop}"), share(events, 150))
            })
            .collect();
        let rows = compare_with_the_rest(&coops, 0.05).unwrap();
        called += usize::from(rows.iter().any(|row| row.more_than_luck));
    }
    assert!(called <= farms * 7 / 100, "{called} of {farms}");
}

#[test]
fn culls_by_reason_and_coop() {
    let gathered = [
        ("north", 300),
        ("south", 200),
        ("south", 100),
        ("shed", 300),
    ]
    .map(|(coop, eggs)| Gathered {
        coop: coop.into(),
        eggs,
    });
    let cull = |coop: &str, reason: &str, eggs| Cull {
        coop: coop.into(),
        reason: reason.into(),
        eggs,
    };
    let culls = [
        cull("north", "mud", 20),
        cull("north", "mud", 12),
        cull("south", "mud", 4),
        cull("south", "hairline crack", 3),
    ];
    let rows = cull_shares(&gathered, &culls, 0.95).unwrap();
    assert_eq!(
        rows.iter()
            .map(|row| row.reason.as_str())
            .collect::<Vec<_>>(),
        ["mud", "hairline crack"]
    );
    assert_eq!(rows[0].total, share(36, 900));
    let coops: Vec<(&str, Proportion)> = rows[0]
        .coops
        .iter()
        .map(|(coop, share, _)| (coop.as_str(), *share))
        .collect();
    assert_eq!(
        coops,
        [
            ("north", share(32, 300)),
            ("shed", share(0, 300)),
            ("south", share(4, 300))
        ]
    );
    let called: Vec<bool> = rows[0]
        .comparisons
        .iter()
        .map(|row| row.more_than_luck)
        .collect();
    assert_eq!(called, [true, true, true]);
    assert!(rows[1].comparisons.iter().all(|row| !row.more_than_luck));
    let stray = [cull("barn", "mud", 1)];
    assert!(matches!(
        cull_shares(&gathered, &stray, 0.95),
        Err(RatesError::Coop { .. })
    ));
    let too_many = [cull("shed", "mud", 301)];
    assert!(matches!(
        cull_shares(&gathered, &too_many, 0.95),
        Err(RatesError::Share { .. })
    ));
    assert!(
        cull_shares(&gathered[..1], &culls[..1], 0.95).unwrap()[0]
            .comparisons
            .is_empty()
    );
}
