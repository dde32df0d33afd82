//! Mistakes that are in print or easily made, one test each.

use chrono::{DateTime, NaiveDate, Utc};
use pointdown_core::trade::clock::cold_deadline;
use pointdown_core::trade::dates::{LastDay, day_of_year, last_day};
use pointdown_core::trade::haugh::{HaughForm, haugh};
use pointdown_core::trade::quality::{Quality, Seen, Shell, White, Yolk};
use pointdown_core::trade::rules::{HousePolicy, Rule, RulePack};
use pointdown_core::trade::size;
use pointdown_core::trade::units::{Celsius, Grams, Millimetres, Range};
use pointdown_core::trade::wash::{Water, water};
use pointdown_core::trade::{Mark, Means, Species, WashDone, WashFault, check_wash};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// 7 CFR 56.76(f)(3) prints the difference of 20 °F as 6.7 °C.
#[test]
fn twenty_degrees_warmer_is_eleven_celsius_and_not_seven() {
    let egg = Celsius(30.0);
    let found = water(Species::Hen, Range::exact(egg), &RulePack::us_federal()).unwrap();
    let Water::Window(window) = found.value else {
        panic!("{:?}", found.value);
    };
    assert!(((window.low - egg).0 - 100.0 / 9.0).abs() < 1e-9);
    assert!(!window.contains(Celsius(36.7)));
}

/// Delegated Regulation (EU) 2022/2258 made 21 days 28.
#[test]
fn the_eu_delivers_within_28_days() {
    let lay = day("2026-03-01");
    let found = last_day(
        LastDay::DeliverBy,
        lay,
        lay,
        &RulePack::eu(),
        &HousePolicy::default(),
    );
    assert_eq!(found.unwrap().value, Some(day("2026-03-29")));
}

/// 45 days including the day of pack are 44 days later.
#[test]
fn inclusive_days_count_the_first() {
    let pack = RulePack::us_federal();
    let packed = day("2025-03-01");
    let last = |which| {
        let found = last_day(which, packed, packed, &pack, &HousePolicy::default());
        found.unwrap().value.unwrap()
    };
    assert_eq!(last(LastDay::BestBy), day("2025-04-14"));
    assert_eq!(last(LastDay::SellBy), day("2025-03-30"));
}

/// Grades are for hens; the act on restricted eggs does not name quail; the 36 hours are for hens.
#[test]
fn each_rule_keeps_to_its_species() {
    let pack = RulePack::us_federal();
    let scheme = pack.quality.as_ref().unwrap();
    let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
    for species in Species::ALL {
        let quality = scheme.judge(species, &good).unwrap().value;
        let class = size::us().class_of_egg(species, Grams(65.0)).unwrap().value;
        let hen = species == Species::Hen;
        assert_eq!(quality == Quality::NoGrades, !hen, "{species:?}");
        assert_eq!(class.is_some(), hen, "{species:?}");

        let cracked = Seen {
            shell: Shell::Cracked,
            ..good.clone()
        };
        let check = scheme.judge(species, &cracked).unwrap();
        assert_eq!(check.value, Quality::Check);
        let by_habit = check.why.iter().any(|r| r.mark == Mark::CommonPractice);
        assert_eq!(by_habit, species == Species::Quail, "{species:?}");

        let lay = DateTime::<Utc>::UNIX_EPOCH;
        let deadline = cold_deadline(species, lay, &pack).unwrap();
        let guidance = deadline.why.iter().any(|r| r.rule.contains("guidance"));
        assert_eq!(guidance, !hen, "{species:?}");
    }
}

#[test]
fn the_day_of_the_year_after_february_knows_leap_years() {
    assert_eq!(day_of_year(day("2024-03-01")), "061");
    assert_eq!(day_of_year(day("2025-03-01")), "060");
    assert_eq!(day_of_year(day("2024-12-31")), "366");
    assert_eq!(day_of_year(day("2100-12-31")), "365");
}

/// The night the clocks go forward is not an hour more.
#[test]
fn thirty_six_hours_are_not_wall_clock() {
    let lay: DateTime<Utc> = "2026-03-07T18:00:00-05:00".parse().unwrap();
    let wall: DateTime<Utc> = "2026-03-09T06:00:00-04:00".parse().unwrap();
    let deadline = cold_deadline(Species::Hen, lay, &RulePack::us_federal()).unwrap();
    assert_eq!((deadline.value - wall).num_minutes(), 60);
}

#[test]
fn the_two_haugh_forms_are_kept_apart() {
    let unit = |form, h| haugh(form, Millimetres(h), Grams(70.0)).unwrap().unwrap();
    let difference = |h| unit(HaughForm::Short, h) - unit(HaughForm::Original, h);
    assert!((0.2..0.5).contains(&difference(6.0)), "{}", difference(6.0));
    assert!(difference(2.0) > 1.0, "{}", difference(2.0));
}

/// 30 oz by 30 dozen is 56.25 lb; the table prints 56.
#[test]
fn a_printed_case_weight_is_rounded() {
    let us = size::us();
    let jumbo = us.class("jumbo").unwrap();
    assert!((Grams(jumbo.min.0 * 360.0).pounds() - 56.25).abs() < 1e-9);
    assert_eq!(jumbo.case_pounds, Some(56.0));
}

/// 7 CFR 56.76 has 100–200 ppm, Minnesota and Wyoming 50–200.
#[test]
fn sanitiser_strength_is_a_rule_of_the_pack() {
    let done = WashDone {
        sanitiser_ppm: Some(60.0),
        ..WashDone::with(Species::Hen, Means::Spray)
    };
    let weak = |pack: &RulePack| {
        let faults = check_wash(&done, pack, &HousePolicy::default()).unwrap();
        faults
            .iter()
            .any(|f| f.value == WashFault::SanitiserTooWeak)
    };
    let federal = RulePack::us_federal();
    assert!(weak(&federal));
    let mut own = RulePack::custom(&federal, "own");
    own.cleaning.sanitiser_ppm = Some(Rule::seen((50.0, 200.0), "Minn. R. 1520.0500"));
    assert!(!weak(&own));
}
