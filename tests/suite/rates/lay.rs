use chrono::{Days, NaiveDate};
use pointdown_core::trade::rates::{
    AlarmWish, Baseline, Convention, DropAlarm, Flock, FlockChange, GatherDay, Minor, RatesError,
    cost_per_dozen, feed_per_dozen, flock_days, lay_rate,
};
use proptest::prelude::*;

fn day(n: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 1, 1).unwrap() + Days::new(n)
}

fn flock(housed: u32) -> Flock {
    Flock {
        housed,
        changes: Vec::new(),
        convention: Convention::TEXTBOOK,
    }
}

#[test]
fn an_unknown_day_is_not_a_day_of_no_eggs() {
    let mut gathers: Vec<GatherDay> = (0..10).map(|n| GatherDay::new(day(n), Some(40))).collect();
    gathers[4].eggs = None;
    let unknown = lay_rate(day(0), day(9), &gathers, &flock(50)).unwrap();
    assert_eq!(
        (unknown.eggs, unknown.hen_days, unknown.all_hen_days),
        (360, 450, 500)
    );
    assert_eq!((unknown.known_days, unknown.unknown_days), (9, 1));
    assert_eq!(unknown.hen_day_percent, Some(80.0));
    gathers.remove(4);
    assert_eq!(
        lay_rate(day(0), day(9), &gathers, &flock(50)).unwrap(),
        unknown
    );
    gathers.push(GatherDay::new(day(4), Some(0)));
    let zero = lay_rate(day(0), day(9), &gathers, &flock(50)).unwrap();
    assert_eq!(zero.hen_day_percent, Some(72.0));
    // A round that also found the eggs of the day before covers both.
    gathers.pop();
    gathers[4].covers = 2;
    gathers[4].eggs = Some(80);
    let both = lay_rate(day(0), day(9), &gathers, &flock(50)).unwrap();
    assert_eq!((both.hen_day_percent, both.unknown_days), (Some(80.0), 0));
}

/// Each second day a round for two days, on which nobody came: the usual rate, and no drop in it.
#[test]
fn a_round_for_two_days_is_one_observation_of_both() {
    let two_days = |n| GatherDay {
        covers: 2,
        ..GatherDay::new(day(n), Some(40 + n as u32 % 3))
    };
    let gathers: Vec<GatherDay> = (0..30).map(|n| two_days(2 * n + 1)).collect();
    let mut birds = flock(25);
    let days = flock_days(day(0), day(59), &gathers, &birds).unwrap();
    assert_eq!(days.len(), 60);
    assert_eq!((days[0].hens, days[0].eggs), (25, None));
    assert_eq!((days[1].hens, days[1].eggs), (50, Some(41)));
    let baseline = Baseline::from_days(&days, None).unwrap();
    assert!((baseline.rate - 0.82).abs() < 0.01, "{}", baseline.rate);
    let wish = AlarmWish {
        drop: 0.2,
        days_between_false_alarms: 200.0,
    };
    let alarm = DropAlarm::design(&baseline, 25, wish).unwrap();
    assert!(alarm.run(&days).iter().all(|day| !day.alarm));

    // A hen that is gone by the second day counts on the first.
    birds.changes.push(FlockChange {
        day: day(1),
        added: 0,
        lost: 5,
    });
    let days = flock_days(day(0), day(1), &gathers[..1], &birds).unwrap();
    assert_eq!((days[0].hens, days[1].hens), (25, 45));
    let twice = [gathers[0], GatherDay::new(day(0), Some(3))];
    assert!(flock_days(day(0), day(1), &twice, &birds).is_err());
}

#[test]
fn with_nothing_known_there_is_no_rate() {
    let none = lay_rate(day(0), day(9), &[], &flock(50)).unwrap();
    assert_eq!(
        (none.hen_day_percent, none.hen_housed_percent),
        (None, None)
    );
    let no_birds = lay_rate(
        day(0),
        day(0),
        &[GatherDay::new(day(0), Some(0))],
        &flock(0),
    )
    .unwrap();
    assert_eq!(no_birds.hen_day_percent, None);
}

#[test]
fn impossible_input_is_refused_by_name() {
    let one = GatherDay::new(day(3), Some(4));
    let refused = |from, to, gathers: &[GatherDay], flock: &Flock| {
        lay_rate(day(from), day(to), gathers, flock)
            .unwrap_err()
            .to_string()
    };
    assert!(refused(5, 4, &[], &flock(1)).starts_with("to is 2026-01-05; allowed is 2026-01-06"));
    assert!(refused(0, 9, &[one, one], &flock(1)).contains("each day covered once"));
    assert!(refused(4, 9, &[one], &flock(1)).contains("gathers of the days"));
    let long = GatherDay { covers: 9, ..one };
    assert!(refused(0, 9, &[long], &flock(1)).contains("gathers of the days"));
    let empty = GatherDay { covers: 0, ..one };
    assert!(refused(0, 9, &[empty], &flock(1)).contains("covers is 0"));
    let mut dying = flock(3);
    dying.changes.push(FlockChange {
        day: day(2),
        added: 0,
        lost: 4,
    });
    assert!(refused(0, 9, &[one], &dying).contains("losses up to the birds alive"));
    assert!(matches!(
        feed_per_dozen(-1.0, 5),
        Err(RatesError::Number {
            field: "feed_kg",
            ..
        })
    ));
    assert!(matches!(
        feed_per_dozen(f64::NAN, 5),
        Err(RatesError::Number { .. })
    ));
    assert!(matches!(
        cost_per_dozen(Minor(5), 0),
        Err(RatesError::Number { field: "eggs", .. })
    ));
}

proptest! {
    /// Splitting the span at any day changes no sum, whatever comes and goes.
    #[test]
    fn spans_add_up(
        counts in prop::collection::vec(prop::option::of(0..90_u32), 2..40),
        cut in 1..39_usize,
        changes in prop::collection::vec((0..40_u64, 0..9_u32, 0..3_u32), 0..6),
        lost_bird_counts in any::<bool>(), new_bird_counts in any::<bool>(),
    ) {
        let flock = Flock {
            housed: 100,
            changes: changes
                .into_iter()
                .map(|(n, added, lost)| FlockChange { day: day(n), added, lost })
                .collect(),
            convention: Convention { lost_bird_counts, new_bird_counts },
        };
        let gathers: Vec<GatherDay> =
            (0..).zip(&counts).map(|(n, &eggs)| GatherDay::new(day(n), eggs)).collect();
        let cut = cut.min(counts.len() - 1);
        let rate = |from: usize, to: usize| {
            lay_rate(day(from as u64), day(to as u64 - 1), &gathers[from..to], &flock).unwrap()
        };
        let (first, second, all) = (rate(0, cut), rate(cut, counts.len()), rate(0, counts.len()));
        prop_assert_eq!(first.eggs + second.eggs, all.eggs);
        prop_assert_eq!(first.hen_days + second.hen_days, all.hen_days);
        prop_assert_eq!(first.unknown_days + second.unknown_days, all.unknown_days);
        prop_assert!(all.hen_days <= all.all_hen_days);
    }
}
