//! Money: exact sums held against rational numbers of unlimited size, missing prices, standing
//! orders by an independent calendar.

use jiff::civil::Weekday;
use num_bigint::BigInt;
use num_rational::BigRational;
use pointdown_core::book::money::Amount;
use pointdown_core::record::{Draft, Kind};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, at, gather};
use proptest::prelude::*;

fn rational(text: &str) -> BigRational {
    let (units, decimals) = text.split_once('.').unwrap_or((text, ""));
    let digits: BigInt = format!("{units}{decimals}").parse().unwrap();
    let scale = u32::try_from(decimals.len()).unwrap();
    BigRational::new(digits, BigInt::from(10).pow(scale))
}

/// The amount as it is shown, read back.
fn shown(amount: Amount) -> BigRational {
    let text = amount.to_string();
    match text.strip_prefix('-') {
        Some(text) => -rational(text),
        None => rational(&text),
    }
}

/// Rounded to hundredths, halves away from zero.
fn hundredths(exact: BigRational) -> BigRational {
    let hundred = BigRational::from_integer(100.into());
    (exact * &hundred).round() / hundred
}

fn price() -> impl Strategy<Value = String> {
    prop_oneof![
        (0u32..1_000_000).prop_map(|n| n.to_string()),
        (0u32..1_000_000, 0u32..10).prop_map(|(n, d)| format!("{n}.{d}")),
        (0u32..1_000_000, 0u32..100).prop_map(|(n, d)| format!("{n}.{d:02}")),
        (0u32..1_000_000, 0u32..1000).prop_map(|(n, d)| format!("{n}.{d:03}")),
    ]
}

proptest! {
    #[test]
    fn sums_and_shares_are_exact(prices in prop::collection::vec(price(), 1..200), by in 1u64..60, of in 1u64..100_000) {
        let amounts: Vec<Amount> = prices.iter().map(|p| p.parse().unwrap()).collect();
        let sum: Amount = amounts.iter().copied().sum();
        let exact: BigRational = prices.iter().map(|p| rational(p)).sum();
        prop_assert_eq!(shown(sum), exact.clone());
        let share = exact * BigRational::new(by.into(), of.into());
        prop_assert_eq!(shown(sum.share(by, of).unwrap()), hundredths(share.clone()));
        prop_assert_eq!(shown((-sum).share(by, of).unwrap()), hundredths(-share));
        prop_assert_eq!(sum.share(by, 0), None);
    }
}

#[test]
fn what_is_no_amount_is_refused() {
    for text in [
        "", ".", "1.", ".5", "1.2345", "-1", "1,50", "1e3", " 1", "NaN",
    ] {
        assert!(text.parse::<Amount>().is_err(), "{text}");
    }
    for (text, back) in [
        ("3", "3.00"),
        ("3.5", "3.50"),
        ("0.125", "0.125"),
        ("12.340", "12.34"),
    ] {
        assert_eq!(text.parse::<Amount>().unwrap().to_string(), back);
    }
}

fn packed(phone: &Phone, cartons: u32) -> (String, String) {
    phone.gather("Orchard", "hen", 6 * cartons);
    let lot = format!("{}/hen", phone.farm.today().unwrap());
    let run = phone.log(
        Draft::new(Kind::Carton)
            .with("parts", format!("{lot}={}", 6 * cartons))
            .with("from", "basket")
            .with("species", "hen")
            .with("eggs_per_carton", 6)
            .with("cartons", cartons)
            .with("packed", phone.farm.today().unwrap().to_string())
            .with("size", "large"),
    );
    (lot, run.to_string())
}

fn out(way: &str, lot: &str, run: &str, cartons: u32) -> Draft {
    Draft::new(Kind::Out)
        .with("way", way)
        .with("parts", format!("{lot}={}", 6 * cartons))
        .with("carton", run)
        .with("cartons", cartons)
}

/// A worked example; the sums were done by hand.
#[test]
fn a_price_that_nobody_wrote_down_is_unknown_and_not_zero() {
    let phone = Phone::first("Ada", "2026-05-01T08:00:00Z", "Etc/UTC");
    phone.log(Draft::new(Kind::Outlet).with("name", "Stall"));
    let (lot, run) = packed(&phone, 12);
    phone.log(
        out("sold", &lot, &run, 3)
            .with("outlet", "Stall")
            .with("price", "10.00"),
    );
    phone.log(
        out("sold", &lot, &run, 2)
            .with("outlet", "Stall")
            .with("price", "7.00"),
    );
    phone.log(out("sold", &lot, &run, 1).with("to", "Cora"));
    phone.log(out("given", &lot, &run, 1).with("to", "cora "));
    phone.log(out("eaten", &lot, &run, 1));
    phone.log(
        out("returned", &lot, &run, 1)
            .with("outlet", "Stall")
            .with("price", "3.35"),
    );
    let today = phone.farm.today().unwrap();
    let found = phone.farm.takings(today, today).unwrap();
    let all = &found.all;
    assert_eq!(all.taken.to_string(), "17.00");
    assert_eq!(all.paid_back.to_string(), "3.35");
    assert_eq!((all.sales, all.sales_without_price), (3, 1));
    assert_eq!((all.sold, all.sold_without_price, all.cartons), (36, 6, 6));
    assert_eq!((all.given, all.eaten, all.returned), (6, 6, 6));
    // 17.00 for 30 eggs with a price: 6.80 a dozen. The six without one are in neither.
    assert_eq!(all.per_dozen.unwrap().to_string(), "6.80");
    let names: Vec<_> = found
        .by_outlet
        .iter()
        .map(|(n, t)| (n.as_deref(), t.sold, t.given))
        .collect();
    assert_eq!(
        names,
        [(Some("Stall"), 30, 0), (None, 0, 0), (Some("Cora"), 6, 6)]
    );
    assert_eq!(found.cartons.len(), 1);
    let kind = &found.cartons[0];
    assert_eq!(
        (kind.eggs_per_carton, kind.cartons, kind.without_price),
        (Some(6), 5, 1)
    );
    let texts = [kind.mean, kind.lowest, kind.highest].map(|a| a.unwrap().to_string());
    assert_eq!(texts, ["3.40", "3.33", "3.50"]);
    // Nothing else is in the span.
    let before = today.pred_opt().unwrap();
    assert_eq!(phone.farm.takings(before, before).unwrap().all.sales, 0);
    assert!(phone.farm.takings(today, before).is_err());
}

#[test]
fn costs_of_a_dozen_say_what_they_do_not_know() {
    let phone = Phone::first("Ada", "2026-05-01T08:00:00Z", "Etc/UTC");
    let today = phone.farm.today().unwrap();
    let none = phone.farm.costs(today, today).unwrap();
    assert_eq!(
        (none.feed_per_dozen, none.supplies_per_dozen, none.complete),
        (None, None, true)
    );
    phone.gather("Orchard", "hen", 40);
    phone.log(Draft::new(Kind::Feed).with("kg", 25).with("cost", "14.90"));
    phone.log(Draft::new(Kind::Feed).with("kg", 0.5));
    phone.log(Draft::new(Kind::Supply).with("item", "brush_replaced"));
    let costs = phone.farm.costs(today, today).unwrap();
    // 25.5 kg for 40 eggs: 7.65 kg a dozen; 14.90 times 12 over 40 is 4.47.
    assert_eq!(costs.feed_kg_per_dozen, Some(7.65));
    assert_eq!(costs.feed_per_dozen.unwrap().to_string(), "4.47");
    assert_eq!((costs.feed.without_cost, costs.complete), (1, false));
    assert_eq!(
        costs.supplies_per_dozen, None,
        "a brush need not have cost anything"
    );
    // Pond was not gathered: two flocks there, of ducks and of hens.
    assert_eq!(costs.unknown_flock_days, 2);
}

#[test]
fn standing_orders_fall_on_their_weekdays_and_meet_the_forecast() {
    let phone = Phone::first("Ada", "2026-03-01T08:00:00Z", "Etc/UTC");
    let pond = phone.farm.find(Kind::Coop, "Pond").unwrap();
    let mut species = pointdown_core::record::Fields::new();
    species.insert("species".into(), "duck".into());
    phone.farm.amend(pond, species, None).unwrap();
    phone.log(
        Draft::new(Kind::Headcount)
            .with("coop", "Orchard")
            .with("species", "hen")
            .with("birds", 20),
    );
    let outlet = phone.log(
        Draft::new(Kind::Outlet)
            .with("name", "Stall")
            .with("standing_order", "fri=2,tue=1")
            .with("order_eggs_per_carton", 6),
    );
    assert!(phone.farm.orders(7).unwrap()[0].forecast.is_none());
    for day in 1..=20 {
        let when = at(&format!("2026-03-{day:02}T08:00:00Z"));
        phone.env.set(when);
        phone.log(gather("Orchard", "hen", 15 + day % 3).at(when));
    }
    phone.env.set(at("2026-03-21T07:00:00Z"));
    let all = phone.farm.orders(14).unwrap();
    assert_eq!(all.len(), 1);
    let orders = &all[0];
    assert_eq!(orders.species, Species::Hen);
    assert_eq!(orders.standing.len(), 4);
    for order in &orders.standing {
        let day: jiff::civil::Date = order.day.to_string().parse().unwrap();
        let due = match day.weekday() {
            Weekday::Friday => 2,
            Weekday::Tuesday => 1,
            other => panic!("an order on {other:?}"),
        };
        assert_eq!((order.cartons, order.outlet), (due, outlet));
    }
    let forecast = orders.forecast.as_ref().expect("twenty days are enough");
    // 15 to 17 eggs a day, 16 on average, from 20 birds: Tuesday 24 March is day 4.
    assert!(
        (forecast.baseline.rate - 0.8).abs() < 0.02,
        "{:?}",
        forecast.baseline
    );
    assert_eq!(forecast.orders[0].day, 4);
    assert_eq!(forecast.orders[0].needed, 6);
    assert!(forecast.orders[0].promised);
    assert_eq!(orders.on_hand, (1..=20).map(|d| 15 + d % 3).sum::<u64>());
    // Held eggs cannot be promised.
    phone.log(
        Draft::new(Kind::Hold)
            .with("from", "2026-03-01")
            .with("until", "2026-03-20")
            .with("cause", "medicine"),
    );
    assert_eq!(phone.farm.orders(14).unwrap()[0].on_hand, 0);
    assert!(phone.farm.orders(0).is_err());
}
