//! What is due next and why: instants held against an independent calendar, on a farm's clock.

use jiff::civil::date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};
use pointdown_core::book::Place;
use pointdown_core::book::due::{Due, Now, What};
use pointdown_core::book::trace::Share;
use pointdown_core::record::{Draft, Fields, Instant, Kind, Station};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, at, gather};

fn farm(now: &str, zone: &str) -> Phone {
    let phone = Phone::first("Ada", now, zone);
    let mut set = Fields::new();
    set.insert("rule_pack".into(), "us_federal".into());
    phone.farm.amend(phone.farm.id(), set, None).unwrap();
    phone
}

fn lines(now: &Now, what: What) -> Vec<&Due> {
    now.due.iter().filter(|d| d.what == what).collect()
}

fn due(now: &Now, what: What) -> Instant {
    let found = lines(now, what);
    assert_eq!(found.len(), 1, "{what:?}: {:#?}", now.due);
    found[0].due.expect("a moment")
}

fn millis(stamp: Timestamp) -> Instant {
    Instant::from_ms(stamp.as_millisecond())
}

/// 36 hours of 21 CFR 118.4(e) over the nights on which clocks change: the published time zone
/// rules by another library than the core's, elapsed time by its own arithmetic.
#[test]
fn thirty_six_hours_from_the_gather_before_over_a_clock_change() {
    for (zone, before, rounds) in [
        (
            "America/New_York",
            "2026-03-07T18:00:00-05:00",
            "2026-03-08T08:00:00-04:00",
        ),
        (
            "America/New_York",
            "2026-10-31T07:00:00-04:00",
            "2026-11-01T09:00:00-05:00",
        ),
        (
            "America/Phoenix",
            "2026-03-07T18:00:00-07:00",
            "2026-03-08T08:00:00-07:00",
        ),
        (
            "Europe/London",
            "2026-03-28T12:00:00+00:00",
            "2026-03-29T08:00:00+01:00",
        ),
    ] {
        let phone = farm(before, zone);
        phone.log(gather("Orchard", "hen", 0).at(at(before)));
        phone.env.set(at(rounds));
        phone.gather("Orchard", "hen", 12);
        let laid: Timestamp = before.parse().unwrap();
        let by = millis(laid + SignedDuration::from_hours(36));
        let now = phone.farm.now().unwrap();
        assert_eq!(due(&now, What::Chill), by, "{zone}");
        let line = lines(&now, What::Chill)[0];
        assert_eq!(
            line.laid,
            Some(at(before)),
            "the gather before, though it found none"
        );
        assert!(!line.overdue);
        assert!(line.why.iter().any(|r| r.source.contains("21 CFR 118.4")));
        assert!(!line.caution.is_empty());
        // A millisecond before it is not overdue, at it it is.
        phone.env.set(by.plus_ms(-1));
        assert!(!lines(&phone.farm.now().unwrap(), What::Chill)[0].overdue);
        phone.env.set(by);
        let now = phone.farm.now().unwrap();
        assert!(lines(&now, What::Chill)[0].overdue);
        assert_eq!(
            now,
            phone.farm.now().unwrap(),
            "a function of data and moment"
        );
    }
}

/// Days of the federal pack: packed within 21 days after laying (7 CFR 56.1), sold within 30 and
/// best by within 45 days with the pack day as day one (agency carton-labelling text); civil dates
/// and the ends of days by another library.
#[test]
fn packing_selling_and_best_by_end_with_their_last_day() {
    let zone = "America/Chicago";
    let phone = farm("2026-02-25T14:00:00Z", zone);
    phone.log(gather("Orchard", "hen", 0));
    phone.env.set(at("2026-02-26T14:00:00Z"));
    phone.gather("Orchard", "hen", 12);
    let tz = TimeZone::get(zone).unwrap();
    let end_of = |day: jiff::civil::Date| {
        let next = day.checked_add(1.day()).unwrap();
        millis(next.to_zoned_datetime(tz.clone()).unwrap().timestamp())
    };
    let now = phone.farm.now().unwrap();
    let laid = date(2026, 2, 25);
    assert_eq!(
        due(&now, What::Pack),
        end_of(laid.checked_add(21.days()).unwrap())
    );
    let wash = due(&now, What::Wash);
    assert_eq!(
        wash,
        at("2026-02-27T02:00:00Z"),
        "36 hours from laying come before a day from gathering"
    );
    let moments: Vec<_> = now.due.iter().map(|d| d.due).collect();
    assert!(moments.is_sorted(), "{moments:?}");

    let lot = "2026-02-26/hen";
    phone.log(
        Draft::new(Kind::Wash)
            .with("parts", format!("{lot}=12"))
            .with("means", "brush"),
    );
    let now = phone.farm.now().unwrap();
    assert_eq!(lines(&now, What::Wash).len(), 0);
    assert_eq!(lines(&now, What::Candle)[0].eggs, 12);
    assert_eq!(
        due(&now, What::Brush),
        phone.env_now().plus_ms(30 * 86_400_000)
    );
    phone.log(
        Draft::new(Kind::Candle)
            .with("parts", format!("{lot}=8"))
            .with("found", "a=8"),
    );
    assert_eq!(lines(&phone.farm.now().unwrap(), What::Candle)[0].eggs, 4);
    phone.log(
        Draft::new(Kind::Carton)
            .with("parts", format!("{lot}=12"))
            .with("from", "clean")
            .with("species", "hen")
            .with("eggs_per_carton", 6)
            .with("cartons", 2)
            .with("packed", "2026-02-26"),
    );
    let now = phone.farm.now().unwrap();
    let packed = date(2026, 2, 26);
    assert_eq!(
        due(&now, What::Sell),
        end_of(packed.checked_add(29.days()).unwrap())
    );
    assert_eq!(
        due(&now, What::BestBy),
        end_of(packed.checked_add(44.days()).unwrap())
    );
    assert_eq!(lines(&now, What::Sell)[0].cartons, 2);
    // Nobody wrote a code down: the label bears that of the lot, day 57 of 2026 by ISO 8601.
    let code = lines(&now, What::Sell)[0].code.as_deref();
    assert_eq!(code, Some("2026-057-hen"));
    assert!(lines(&now, What::Chill).is_empty() && lines(&now, What::Pack).is_empty());
}

#[test]
fn held_eggs_are_set_apart_and_no_suggestion_touches_them() {
    let phone = farm("2026-05-01T08:00:00Z", "Etc/UTC");
    phone.gather("Orchard", "hen", 10);
    phone.env.set(at("2026-05-02T08:00:00Z"));
    phone.gather("Orchard", "hen", 6);
    phone.gather("Pond", "hen", 4);
    phone.env.set(at("2026-05-03T08:00:00Z"));
    phone.gather("Pond", "hen", 8);
    let hold = phone.log(
        Draft::new(Kind::Hold)
            .with("from", "2026-05-01")
            .with("until", "2026-05-02")
            .with("cause", "illness")
            .with("coop", "Orchard"),
    );
    let before = phone.view();
    let found = phone
        .farm
        .suggest(Station::Basket, Species::Hen, Some(9))
        .unwrap();
    let lots: Vec<_> = found
        .take
        .iter()
        .map(|t| (t.lot.unwrap().to_string(), t.eggs))
        .collect();
    assert_eq!(lots, [("2026-05-03/hen".to_string(), 8)]);
    assert_eq!((found.eggs, found.short), (8, 1));
    let held: Vec<_> = found
        .not_to_touch
        .iter()
        .map(|n| (n.eggs, n.held))
        .collect();
    assert_eq!(held, [(10, Share::All), (10, Share::May)]);
    assert!(found.not_to_touch.iter().all(|n| n.holds == [hold]));
    assert_eq!(
        before,
        phone.view(),
        "a suggestion is never applied by itself"
    );

    let now = phone.farm.now().unwrap();
    assert_eq!(lines(&now, What::SetApart).len(), 2);
    // What is held for certain is only set apart; what may be is flagged wherever it is due.
    let wash = lines(&now, What::Wash);
    assert_eq!(wash.len(), 2);
    assert_eq!(wash[0].held, Some(Share::May));
    assert!(lines(&now, What::HoldEnds).is_empty(), "it has ended");
    phone.env.set(at("2026-05-02T12:00:00Z"));
    let ends = due(&phone.farm.now().unwrap(), What::HoldEnds);
    assert_eq!(ends, at("2026-05-03T00:00:00Z"));
    // The same day's eggs of the other species are free.
    phone.gather("Pond", "duck", 3);
    let ducks = phone
        .farm
        .suggest(Station::Basket, Species::Duck, None)
        .unwrap();
    assert_eq!((ducks.eggs, ducks.not_to_touch.len()), (3, 0));
}

#[test]
fn a_farm_without_rules_is_told_what_stands_and_only_habits_of_the_trade() {
    let phone = Phone::first("Ada", "2026-05-01T08:00:00Z", "Etc/UTC");
    assert_eq!(phone.farm.now().unwrap().due, []);
    phone.gather("Orchard", "hen", 10);
    let now = phone.farm.now().unwrap();
    assert_eq!(now.rules, None);
    let whats: Vec<_> = now.due.iter().map(|d| d.what).collect();
    assert_eq!(whats, [What::Wash]);
    assert_eq!(now.here.len(), 1);
    let here = &now.here[0];
    assert_eq!(
        (here.place, here.eggs, here.known_round),
        (Place::Basket, 10, true)
    );
    // With no round before a day is assumed.
    assert_eq!(here.age_minutes, 24 * 60);
}

#[test]
fn a_warm_cooler_is_named_until_a_better_reading() {
    let phone = farm("2026-05-01T08:00:00Z", "Etc/UTC");
    phone.log(Draft::new(Kind::Cooler).with("name", "Cellar"));
    let reading = |air: f64| {
        Draft::new(Kind::Reading)
            .with("cooler", "Cellar")
            .with("air_c", air)
    };
    // 45 °F is 7.22 °C: 21 CFR 115.50.
    phone.log(reading(7.2));
    assert!(lines(&phone.farm.now().unwrap(), What::Cooler).is_empty());
    phone.env.pass_ms(60_000);
    phone.log(reading(7.3));
    let now = phone.farm.now().unwrap();
    assert_eq!(lines(&now, What::Cooler)[0].name.as_deref(), Some("Cellar"));
    phone.env.pass_ms(60_000);
    phone.log(reading(5.0));
    assert!(lines(&phone.farm.now().unwrap(), What::Cooler).is_empty());
}

#[test]
fn even_cartons_follow_the_farms_rules_and_log_nothing() {
    let phone = farm("2026-05-01T08:00:00Z", "Etc/UTC");
    let before = phone.view();
    let grams = [57.0, 58.0, 59.0, 60.0, 61.0, 58.5, 52.0];
    let found = phone
        .farm
        .even_cartons(Species::Hen, &grams, &[6], false)
        .unwrap();
    let made: Vec<_> = found
        .value
        .groups
        .iter()
        .filter(|g| !g.cartons.is_empty())
        .collect();
    assert_eq!(made.len(), 1);
    assert_eq!(made[0].code.as_deref(), Some("large"));
    // A grade of size is for hens only: ducks go by count.
    let ducks = phone
        .farm
        .even_cartons(Species::Duck, &grams[..6], &[6], false)
        .unwrap();
    assert!(ducks.value.groups.iter().all(|g| g.code.is_none()));
    assert!(
        phone
            .farm
            .even_cartons(Species::Hen, &[-1.0], &[6], false)
            .is_err()
    );
    assert!(
        phone
            .farm
            .even_cartons(Species::Hen, &grams, &[7], false)
            .is_err()
    );
    assert_eq!(before, phone.view());
}

/// Many lots are due by one rule: it is told once, and each line still names all of its own.
#[test]
fn every_reason_is_told_once() {
    let phone = farm("2026-05-01T08:00:00Z", "Etc/UTC");
    for day in 1..=5 {
        phone.env.set(at(&format!("2026-05-0{day}T08:00:00Z")));
        phone.gather("Orchard", "hen", 10);
        phone.gather("Pond", "duck", 4);
    }
    let now = phone.farm.now().unwrap();
    assert!(now.due.len() > 20, "{}", now.due.len());
    let reasons = now.reasons();
    for (line, of) in now.due.iter().zip(&reasons.of) {
        let told: Vec<_> = of.iter().map(|n| reasons.all[n - 1]).collect();
        assert_eq!(told, line.why.iter().collect::<Vec<_>>());
        let day = line.why.iter().find(|why| why.rule.contains("2026-"));
        assert_eq!(day, None, "the line says the day");
    }
    // Chill with its scope for ducks and the two ways to know the laying, wash, pack.
    assert_eq!(reasons.all.len(), 6, "{:?}", reasons.all);
    let cautions = now.cautions();
    let mut once = cautions.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), cautions.len());
}

/// Whoever says that cartons leave is told which eggs of the run those are.
#[test]
fn cartons_of_a_run_are_its_eggs_oldest_first() {
    let phone = farm("2026-05-01T08:00:00Z", "Etc/UTC");
    phone.gather("Orchard", "hen", 7);
    phone.env.set(at("2026-05-02T08:00:00Z"));
    phone.gather("Orchard", "hen", 20);
    let run = phone.log(
        Draft::new(Kind::Carton)
            .with("parts", "2026-05-01/hen=7,2026-05-02/hen=5")
            .with("from", "basket")
            .with("species", "hen")
            .with("eggs_per_carton", 6)
            .with("cartons", 2)
            .with("packed", "2026-05-02"),
    );
    let of = |cartons| {
        let parts = phone.farm.of_run(run, cartons)?;
        let parts = parts.0.into_iter().map(|(lot, n)| (lot.to_string(), n));
        Ok::<_, pointdown_core::farm::FarmError>(parts.collect::<Vec<_>>())
    };
    let (first, second) = ("2026-05-01/hen".to_string(), "2026-05-02/hen".to_string());
    assert_eq!(of(1).unwrap(), [(first.clone(), 6)]);
    assert_eq!(of(2).unwrap(), [(first.clone(), 7), (second.clone(), 5)]);
    phone.log(
        Draft::new(Kind::Out)
            .with("way", "sold")
            .with("carton", run.to_string())
            .with("cartons", 1)
            .with("parts", format!("{first}=6")),
    );
    assert_eq!(of(1).unwrap(), [(first, 1), (second, 5)]);
    assert!(of(2).unwrap_err().message.contains("at most the 1"));
}

/// Of eggs whose days are known, a carton holds none further apart than the house wants them.
#[test]
fn even_cartons_of_lots_keep_ages_together() {
    let phone = farm("2026-05-20T08:00:00Z", "Etc/UTC");
    let mut set = Fields::new();
    set.insert(
        "house".into(),
        serde_json::json!({"ages_apart_max_days": 3}),
    );
    phone.farm.amend(phone.farm.id(), set, None).unwrap();
    let lot = |day: &str| format!("{day}/hen").parse().unwrap();
    let eggs = |old: usize, new: usize| {
        let old = std::iter::repeat_n((lot("2026-05-10"), 60.0), old);
        old.chain(std::iter::repeat_n((lot("2026-05-19"), 60.0), new))
            .collect::<Vec<_>>()
    };
    let made = |eggs: &[_]| {
        let found = phone.farm.even_cartons_of(eggs, &[6], false).unwrap();
        let groups = found.value.groups.iter();
        groups.map(|group| group.cartons.len()).sum::<usize>()
    };
    assert_eq!(made(&eggs(6, 6)), 2);
    assert_eq!(made(&eggs(3, 3)), 0);
}
