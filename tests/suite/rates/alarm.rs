use pointdown_core::trade::rates::{
    AlarmWish, Baseline, Counts, DropAlarm, FlockDay, RatesError, RunLengths,
};

use super::days;
use crate::cartons::Numbers;

const WISH: AlarmWish = AlarmWish {
    drop: 0.25,
    days_between_false_alarms: 200.0,
};

/// Draws from a law by its distribution function.
struct Draw(Vec<f64>);

impl Draw {
    fn from(law: Counts) -> Draw {
        let top = law.quantile(1.0 - 1e-9);
        Draw((0..=top).map(|k| law.at_most(k)).collect())
    }

    fn next(&self, numbers: &mut Numbers) -> u32 {
        let u = numbers.unit();
        self.0.partition_point(|&p| p < u) as u32
    }
}

/// Days to the alarm, over many flocks.
fn run_lengths(alarm: &DropAlarm, hens: u32, law: Counts, flocks: usize, seed: u64) -> Vec<usize> {
    let (mut numbers, draw) = (Numbers(seed), Draw::from(law));
    let one_flock = |_| {
        // Far longer than any run, and long enough for the mean.
        let days: Vec<FlockDay> = (0..4000)
            .map(|_| FlockDay {
                hens,
                eggs: Some(draw.next(&mut numbers)),
            })
            .collect();
        alarm.run(&days).iter().position(|day| day.alarm).unwrap() + 1
    };
    (0..flocks).map(one_flock).collect()
}

fn mean(lengths: &[usize]) -> f64 {
    lengths.iter().sum::<usize>() as f64 / lengths.len() as f64
}

/// The rates that the alarm states come from a Markov chain; here it runs for many flocks instead.
#[test]
fn the_stated_false_alarm_rate_is_what_happens() {
    for (dispersion, seed) in [(0.4, 1), (1.0, 2), (2.5, 3)] {
        let baseline = Baseline {
            rate: 0.8,
            dispersion,
            uncertainty: 0.0,
            freedom: f64::INFINITY,
        };
        let alarm = DropAlarm::design(&baseline, 30, WISH).unwrap();
        assert!(alarm.false_alarm_days >= WISH.days_between_false_alarms);
        let quiet = run_lengths(
            &alarm,
            30,
            Counts::new(24.0, dispersion).unwrap(),
            600,
            seed,
        );
        // The standard error of a mean of 600 nearly exponential lengths is 4 %.
        let ratio = mean(&quiet) / alarm.false_alarm_days;
        assert!(
            (0.86..1.14).contains(&ratio),
            "{dispersion}: {ratio}, {}",
            alarm.why
        );
        let early = quiet.iter().filter(|&&days| days <= 30).count() as f64 / 600.0;
        assert!(
            (early - alarm.false_alarm_in_30).abs() < 0.06,
            "{early} {}",
            alarm.why
        );
        let dropped = run_lengths(
            &alarm,
            30,
            Counts::new(18.0, dispersion).unwrap(),
            600,
            seed + 9,
        );
        let ratio = mean(&dropped) / alarm.days_to_find;
        assert!(
            (0.93..1.07).contains(&ratio),
            "{dispersion}: {ratio}, {}",
            alarm.why
        );
        assert!(alarm.days_to_find < alarm.false_alarm_days / 3.0);
    }
}

#[test]
fn a_chain_that_always_or_never_alarms() {
    // Each day adds one: over a limit of 4 after five days, for certain.
    let sure = RunLengths::new(4, |d| if d >= 1 { 1.0 } else { 0.0 });
    assert!((sure.mean() - 5.0).abs() < 1e-12);
    assert!(sure.alarm_within(4) < 1e-12 && sure.alarm_within(5) > 1.0 - 1e-12);
    let never = RunLengths::new(4, |d| if d >= 0 { 1.0 } else { 0.0 });
    assert_eq!(never.mean(), f64::INFINITY);
    assert!(never.alarm_within(1000) < 1e-12);
    // A fair coin, +1 or −1, over a limit of 0: the first head, two days on the average.
    let coin = RunLengths::new(0, |d| {
        if d >= 1 {
            1.0
        } else if d >= -1 {
            0.5
        } else {
            0.0
        }
    });
    assert!((coin.mean() - 2.0).abs() < 1e-12);
    assert!((coin.alarm_within(3) - 0.875).abs() < 1e-12);
}

#[test]
fn a_drop_is_found_and_gaps_do_not_move_the_sum() {
    let mut numbers = Numbers(21);
    let past = days(&mut numbers, 60, 40, 0.8, 0.08);
    let baseline = Baseline::from_days(&past, None).unwrap();
    let alarm = DropAlarm::design(&baseline, 40, WISH).unwrap();
    let mut ahead = days(&mut numbers, 12, 40, 0.8, 0.05);
    let unknown = FlockDay {
        hens: 40,
        eggs: None,
    };
    ahead.extend([unknown; 20]);
    ahead.extend(days(&mut numbers, 25, 40, 0.5, 0.05));
    let sums = alarm.run(&ahead);
    assert!(sums[..32].iter().all(|day| !day.alarm));
    assert!(sums[12..32].iter().all(|day| day.sum == sums[11].sum));
    let found = sums.iter().position(|day| day.alarm).unwrap();
    assert!((32..42).contains(&found), "day {found}: {}", alarm.why);

    let says = |days| alarm.advice(days).unwrap();
    let (before, after) = (says(&ahead[..32]), says(&ahead[..=found]));
    assert!(!before.value.alarm && before.why.len() == 1);
    assert!(after.value.alarm && after.why[1].rule.contains("water and feed"));
    assert!(after.caution.contains("veterinarian"));
    assert_eq!(alarm.advice(&[]), None);
}

/// Half the hens lay half the eggs. That is no drop, and the alarm keeps its word.
#[test]
fn another_flock_size_keeps_the_false_alarm_rate() {
    let baseline = Baseline {
        rate: 0.8,
        dispersion: 0.6,
        uncertainty: 0.0,
        freedom: f64::INFINITY,
    };
    let alarm = DropAlarm::design(&baseline, 40, WISH).unwrap();
    for (hens, seed) in [(20, 1), (30, 2), (60, 3)] {
        let law = Counts::new(0.8 * f64::from(hens), 0.6).unwrap();
        let quiet = mean(&run_lengths(&alarm, hens, law, 400, seed));
        let ratio = quiet / alarm.false_alarm_days;
        assert!((0.85..1.3).contains(&ratio), "{hens} hens: {ratio}");
    }
}

#[test]
fn rarer_false_alarms_cost_time_to_find() {
    let baseline = Baseline {
        rate: 0.75,
        dispersion: 0.6,
        uncertainty: 0.0,
        freedom: f64::INFINITY,
    };
    let design = |days, drop| {
        let wish = AlarmWish {
            drop,
            days_between_false_alarms: days,
        };
        DropAlarm::design(&baseline, 25, wish).unwrap()
    };
    let (often, seldom) = (design(60.0, 0.2), design(1000.0, 0.2));
    assert!(often.limit < seldom.limit && often.days_to_find < seldom.days_to_find);
    assert!(often.false_alarm_in_30 > seldom.false_alarm_in_30);
    assert!(design(365.0, 0.4).days_to_find < design(365.0, 0.1).days_to_find);
}

#[test]
fn the_baseline_finds_rate_and_scatter() {
    let mut numbers = Numbers(8);
    // Equal coins: the variance is 1 − 0.7 of the mean. Unknown days change nothing.
    let mut even = days(&mut numbers, 400, 50, 0.7, 0.0);
    let baseline = Baseline::from_days(&even, None).unwrap();
    assert!((baseline.rate - 0.7).abs() < 0.02, "{}", baseline.rate);
    assert!(
        (baseline.dispersion - 0.3).abs() < 0.08,
        "{}",
        baseline.dispersion
    );
    even.insert(
        200,
        FlockDay {
            hens: 50,
            eggs: None,
        },
    );
    assert_eq!(Baseline::from_days(&even, None).unwrap(), baseline);
    let swaying = Baseline::from_days(&days(&mut numbers, 400, 50, 0.6, 0.4), None).unwrap();
    assert!(swaying.dispersion > 1.5, "{}", swaying.dispersion);
    let mut turning = days(&mut numbers, 60, 50, 0.8, 0.0);
    turning.extend(days(&mut numbers, 60, 50, 0.5, 0.0));
    assert!((Baseline::from_days(&turning, Some(7.0)).unwrap().rate - 0.5).abs() < 0.05);
}

#[test]
fn impossible_wishes_are_refused() {
    let few = days(&mut Numbers(1), 6, 50, 0.7, 0.0);
    assert!(matches!(
        Baseline::from_days(&few, None),
        Err(RatesError::TooFew { value: 6, .. })
    ));
    let many = days(&mut Numbers(1), 30, 50, 0.7, 0.0);
    let baseline = Baseline::from_days(&many, None).unwrap();
    for (drop, days_between_false_alarms) in
        [(0.0, 100.0), (1.0, 100.0), (0.2, 1.0), (0.2, f64::NAN)]
    {
        let wish = AlarmWish {
            drop,
            days_between_false_alarms,
        };
        assert!(matches!(
            DropAlarm::design(&baseline, 50, wish),
            Err(RatesError::Number { .. })
        ));
    }
    assert!(matches!(
        DropAlarm::design(&baseline, 0, WISH),
        Err(RatesError::Number { field: "hens", .. })
    ));
    let none = [FlockDay {
        hens: 5,
        eggs: Some(0),
    }; 9];
    assert!(matches!(
        Baseline::from_days(&none, None),
        Err(RatesError::TooFew { field: "eggs", .. })
    ));
}
