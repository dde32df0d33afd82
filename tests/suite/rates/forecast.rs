use pointdown_core::trade::rates::{Ahead, FlockDay, Order, RatesError, forecast};

use super::{days, eggs};
use crate::cartons::Numbers;

fn ahead(hens: u32, days: usize, orders: Vec<Order>) -> Ahead {
    Ahead {
        hens: vec![hens; days],
        sellable: 0.95,
        on_hand: 10,
        capacity: 12,
        orders,
        chance: 0.9,
    }
}

/// A day fourteen days back counts half: a fortnight at 0.8 after a fortnight at 0.4 is a rate of
/// (2 × 0.8 + 1 × 0.4) / 3.
#[test]
fn the_rate_follows_the_latest_fortnight() {
    let day = |eggs| FlockDay {
        hens: 50,
        eggs: Some(eggs),
    };
    let past = [vec![day(20); 14], vec![day(40); 14]].concat();
    let rate = forecast(&past, &ahead(50, 1, Vec::new()))
        .unwrap()
        .baseline
        .rate;
    assert!((rate - 2.0 / 3.0).abs() < 1e-12, "{rate}");
}

/// Forecasts made over and over for flocks whose next days are then lived through.
#[test]
fn ranges_and_promises_hold_as_often_as_they_say() {
    let orders = vec![Order {
        day: 5,
        cartons: 9,
        capacity: 12,
    }];
    for (hens, rate, sway, seed) in [(12, 0.7, 0.05, 1), (40, 0.8, 0.15, 2), (40, 0.55, 0.4, 3)] {
        let mut numbers = Numbers(seed);
        let flocks = 500;
        let (mut held, mut cartons_held, mut at_least, mut promised) = ([0; 2], 0, 0, 0.0);
        let mut met = 0.0;
        for _ in 0..flocks {
            let past = days(&mut numbers, 40, hens, rate, sway);
            let said = forecast(&past, &ahead(hens, 5, orders.clone())).unwrap();
            let (mut laid, mut kept) = (0_u64, 0_u64);
            for (i, day) in said.days.iter().enumerate() {
                let today = eggs(&mut numbers, hens, rate, sway);
                laid += u64::from(today);
                kept += (0..today).filter(|_| numbers.unit() < 0.95).count() as u64;
                let (low, high) = day.eggs_range;
                if i == 0 || i == 4 {
                    held[i / 4] += usize::from((low..=high).contains(&laid));
                }
            }
            let (low, high) = said.days[4].cartons_range;
            cartons_held += usize::from((low..=high).contains(&((10 + kept) / 12)));
            at_least += usize::from(10 + kept >= said.orders[0].at_least);
            promised += said.orders[0].chance;
            met += f64::from(u8::from(10 + kept >= 108));
        }
        let share = |count: usize| count as f64 / flocks as f64;
        for held in held {
            assert!(
                (0.87..=0.985).contains(&share(held)),
                "{hens} {sway}: {}",
                share(held)
            );
        }
        assert!(share(cartons_held) >= 0.87, "{}", share(cartons_held));
        assert!(
            (0.87..=0.985).contains(&share(at_least)),
            "{}",
            share(at_least)
        );
        let off = (promised - met) / flocks as f64;
        assert!(off.abs() < 0.05, "{hens}: {off}");
    }
}

#[test]
fn orders_that_can_and_cannot_be_met() {
    let past = days(&mut Numbers(4), 40, 40, 0.8, 0.05);
    let order = |day, cartons| Order {
        day,
        cartons,
        capacity: 12,
    };
    let said = forecast(
        &past,
        &ahead(40, 7, vec![order(7, 9), order(3, 4), order(3, 2)]),
    )
    .unwrap();
    let due: Vec<(u32, u64)> = said
        .orders
        .iter()
        .map(|order| (order.day, order.needed))
        .collect();
    assert_eq!(due, [(3, 72), (7, 180)]);
    assert!(
        said.orders
            .iter()
            .all(|order| order.chance > 0.9 && order.why.contains("promised") && order.promised)
    );
    assert!(said.all_orders_chance <= said.orders[0].chance.min(said.orders[1].chance));
    let too_much = forecast(&past, &ahead(40, 7, vec![order(2, 7)])).unwrap();
    assert!(too_much.orders[0].chance < 0.1 && too_much.orders[0].why.contains("fall short"));
    let short = too_much.orders[0].finding();
    assert!(!short.value && short.why[0].source.contains("1974") && short.caution.contains("held"));
    // More days, more eggs, wider ranges.
    for pair in said.days.windows(2) {
        let width = |i: usize| pair[i].eggs_range.1 - pair[i].eggs_range.0;
        assert!(pair[0].eggs < pair[1].eggs && width(0) <= width(1));
        assert!(pair[0].cartons_range.0 <= pair[1].cartons_range.0);
    }
}

#[test]
fn a_gap_and_no_hens_ahead() {
    let mut past = days(&mut Numbers(6), 40, 40, 0.8, 0.05);
    for day in &mut past[20..30] {
        day.eggs = None;
    }
    let said = forecast(&past, &ahead(40, 3, Vec::new())).unwrap();
    assert!(
        (said.baseline.rate - 0.8).abs() < 0.06,
        "{}",
        said.baseline.rate
    );
    let none = forecast(&past, &ahead(0, 2, Vec::new())).unwrap();
    assert_eq!(
        (none.days[1].eggs_range, none.days[1].cartons_range),
        ((0, 0), (0, 0))
    );
}

#[test]
fn impossible_questions_are_refused() {
    let past = days(&mut Numbers(6), 40, 40, 0.8, 0.05);
    let good = ahead(40, 3, Vec::new());
    let late = Order {
        day: 4,
        cartons: 1,
        capacity: 12,
    };
    for bad in [
        Ahead {
            sellable: 1.2,
            ..good.clone()
        },
        Ahead {
            capacity: 0,
            ..good.clone()
        },
        Ahead {
            chance: 1.0,
            ..good.clone()
        },
        Ahead {
            hens: Vec::new(),
            ..good.clone()
        },
        Ahead {
            orders: vec![late],
            ..good.clone()
        },
    ] {
        assert!(
            matches!(forecast(&past, &bad), Err(RatesError::Number { .. })),
            "{bad:?}"
        );
    }
    assert!(matches!(
        forecast(&past[..5], &good),
        Err(RatesError::TooFew { .. })
    ));
}
