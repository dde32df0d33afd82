//! Laws of the trade that hold for every input: more of one thing never means less of another, and
//! units go there and back.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use pointdown_core::trade::Species;
use pointdown_core::trade::basin::Basin;
use pointdown_core::trade::clock::{Standing, chill_standing, cold_deadline};
use pointdown_core::trade::conduction::{At, ratio};
use pointdown_core::trade::dates::{LastDay, last_day, ordinal_date};
use pointdown_core::trade::dew::{dew_point, sweat, sweating_humidity};
use pointdown_core::trade::haugh::{HaughForm, haugh};
use pointdown_core::trade::quality::{Quality, Seen, White, Yolk};
use pointdown_core::trade::rules::{HousePolicy, RulePack};
use pointdown_core::trade::size;
use pointdown_core::trade::temperature::{LAID, Stay, Surroundings, estimate};
use pointdown_core::trade::tolerance::allowed_count;
use pointdown_core::trade::units::{
    Celsius, CelsiusDelta, Grams, Litres, Millimetres, Minutes, Range,
};
use pointdown_core::trade::wash::{Water, water};
use proptest::prelude::*;

fn surroundings() -> impl Strategy<Value = Surroundings> {
    proptest::sample::select(&Surroundings::ALL[..])
}

fn day() -> impl Strategy<Value = NaiveDate> {
    (0..40_000_i64).prop_map(|n| NaiveDate::default() + TimeDelta::days(n))
}

proptest! {
    #[test]
    fn units_go_there_and_back(x in -500.0..500.0_f64) {
        prop_assert!((Celsius::from_fahrenheit(x).fahrenheit() - x).abs() < 1e-9);
        prop_assert!((CelsiusDelta::from_fahrenheit_delta(x).fahrenheit_delta() - x).abs() < 1e-9);
        prop_assert!((Grams::from_ounces(x).ounces() - x).abs() < 1e-9);
        prop_assert!((Grams::from_pounds(x).pounds() - x).abs() < 1e-9);
        prop_assert!((Millimetres::from_inches(x).inches() - x).abs() < 1e-9);
        prop_assert!((Litres::from_us_gallons(x).us_gallons() - x).abs() < 1e-9);
        prop_assert!((Minutes::from_hours(x).hours() - x).abs() < 1e-9);
    }

    #[test]
    fn a_difference_of_readings_is_a_difference(a in -40.0..120.0_f64, b in -40.0..120.0_f64) {
        let difference = Celsius::from_fahrenheit(a) - Celsius::from_fahrenheit(b);
        prop_assert!((difference.fahrenheit_delta() - (a - b)).abs() < 1e-9);
    }

    #[test]
    fn a_warmer_egg_never_allows_colder_water(a in 10.0..45.0_f64, b in 10.0..45.0_f64) {
        let (cold, warm) = if a < b { (a, b) } else { (b, a) };
        let pack = RulePack::us_federal();
        let low = |t: f64| match water(Species::Hen, Range::exact(Celsius(t)), &pack).unwrap().value {
            Water::Window(window) => {
                assert!(window.low.0 <= window.high.unwrap().0 + 1e-9);
                window.low.0
            }
            other => panic!("{other:?} at {t}"),
        };
        prop_assert!(low(cold) <= low(warm));
        prop_assert!(low(warm) - warm >= 100.0 / 9.0 - 1e-9);
    }

    #[test]
    fn a_less_certain_egg_has_a_narrower_window(t in 15.0..40.0_f64, give in 0.0..4.0_f64) {
        let pack = RulePack::us_federal();
        let egg = Range { low: Celsius(t - give), likely: Celsius(t), high: Celsius(t + give) };
        let exact = water(Species::Hen, Range::exact(Celsius(t)), &pack).unwrap().value;
        let wide = water(Species::Hen, egg, &pack).unwrap().value;
        if let (Water::Window(exact), Water::Window(wide)) = (exact, wide) {
            prop_assert!(wide.low.0 >= exact.low.0 - 1e-9);
            prop_assert!(wide.high.unwrap().0 <= exact.high.unwrap().0 + 1e-9);
        }
    }

    #[test]
    fn the_dew_point_rises_with_humidity_and_stays_below_the_air(
        air in -20.0..50.0_f64, a in 1.0..100.0_f64, b in 1.0..100.0_f64,
    ) {
        let (dry, moist) = if a < b { (a, b) } else { (b, a) };
        let point = |rh| dew_point(Celsius(air), rh).unwrap().0;
        prop_assert!(point(dry) <= point(moist) + 1e-12);
        prop_assert!(point(moist) <= air + 1e-9);
    }

    #[test]
    fn sweating_begins_at_its_humidity(egg in 0.0..30.0_f64, over in 0.5..25.0_f64) {
        let (egg, air) = (Celsius(egg), Celsius(egg + over));
        let limit = sweating_humidity(egg, air).unwrap().unwrap();
        prop_assume!(limit > 1.1 && limit < 99.9);
        prop_assert!(sweat(egg, air, limit + 0.05).unwrap().value.sweats);
        prop_assert!(!sweat(egg, air, limit - 0.05).unwrap().value.sweats);
    }

    #[test]
    fn a_sphere_only_ever_comes_nearer(
        biot in 0.01..60.0_f64, a in 0.001..20.0_f64, b in 0.001..20.0_f64,
    ) {
        let (early, late) = if a < b { (a, b) } else { (b, a) };
        for at in [At::Centre, At::Mean, At::Surface] {
            let (e, l) = (ratio(at, biot, early), ratio(at, biot, late));
            prop_assert!((0.0..=1.0).contains(&e) && l <= e + 1e-9, "{at:?} {e} {l}");
        }
    }

    #[test]
    fn an_estimate_stays_between_bird_and_surroundings(
        where_ in surroundings(), around in 0.0..38.0_f64, minutes in 0.0..3000.0_f64,
        more in 0.0..3000.0_f64, mass in 8.0..200.0_f64,
    ) {
        let at = |m: f64| {
            let stay = Stay::exactly(where_, Celsius(around), m);
            estimate(Species::Hen, Grams(mass), LAID, &[stay]).unwrap().value
        };
        let (soon, later) = (at(minutes), at(minutes + more));
        prop_assert!(soon.low.0 <= soon.likely.0 + 1e-9 && soon.likely.0 <= soon.high.0 + 1e-9);
        prop_assert!(soon.low.0 >= around - 1.0 - 1e-9 && soon.high.0 <= LAID.high.0 + 1e-9);
        prop_assert!(later.likely.0 <= soon.likely.0 + 1e-9);
    }

    #[test]
    fn a_heavier_egg_is_never_of_a_smaller_class(a in 10.0..120.0_f64, b in 10.0..120.0_f64) {
        let (light, heavy) = if a < b { (a, b) } else { (b, a) };
        for scheme in size::schemes() {
            let rank = |g: f64| {
                let class = scheme.class_of_egg(Species::Hen, Grams(g)).unwrap().value;
                let place = |c: &size::SizeClass| {
                    scheme.classes.value.iter().position(|x| x == c).unwrap()
                };
                class.as_ref().map_or(usize::MAX, place)
            };
            prop_assert!(rank(heavy) <= rank(light), "{}", scheme.name);
        }
    }

    #[test]
    fn a_carton_makes_its_class_in_ounces_too(
        eggs in proptest::collection::vec(36.0..80.0_f64, 1..31),
    ) {
        let scheme = size::us();
        let masses: Vec<Grams> = eggs.iter().copied().map(Grams).collect();
        if let Some(class) = scheme.class_of_carton(Species::Hen, &masses).unwrap().value {
            let ounces: f64 = masses.iter().map(|m| m.ounces()).sum();
            let per_dozen = 12.0 * ounces / eggs.len() as f64;
            let table = [("jumbo", 30.0, 29.0), ("extra_large", 27.0, 26.0), ("large", 24.0, 23.0),
                ("medium", 21.0, 20.0), ("small", 18.0, 17.0), ("peewee", 15.0, 0.0)];
            let (_, net, single) = table.into_iter().find(|t| t.0 == class.code).unwrap();
            prop_assert!(per_dozen >= net - 1e-6);
            prop_assert!(masses.iter().all(|m| 12.0 * m.ounces() >= single - 1e-6));
        }
    }

    #[test]
    fn more_white_is_never_a_lower_haugh_unit(
        a in 0.0..20.0_f64, b in 0.0..20.0_f64, w in 30.0..150.0_f64,
    ) {
        let (thin, thick) = if a < b { (a, b) } else { (b, a) };
        for form in [HaughForm::Short, HaughForm::Original] {
            let unit = |h: f64| haugh(form, Millimetres(h), Grams(w)).unwrap();
            if let Some(low) = unit(thin) {
                prop_assert!(unit(thick).unwrap() >= low - 1e-9);
            }
        }
    }

    #[test]
    fn a_deeper_air_cell_is_never_a_better_grade(a in 0.0..30.0_f64, b in 0.0..30.0_f64) {
        let (small, deep) = if a < b { (a, b) } else { (b, a) };
        for pack in [RulePack::us_federal(), RulePack::eu()] {
            let scheme = pack.quality.unwrap();
            let rank = |mm: f64| {
                let seen = Seen::candled(Millimetres(mm), White::Firm, Yolk::Slight);
                match scheme.judge(Species::Hen, &seen).unwrap().value {
                    Quality::Grade(code) => scheme.grades.value.iter().position(|g| g.code == code),
                    other => panic!("{other:?}"),
                }
            };
            prop_assert!(rank(small) <= rank(deep));
        }
    }

    #[test]
    fn a_share_never_allows_more_than_itself(share in 0.0..1.0_f64, total in 0..100_000_u32) {
        let allowed = allowed_count(share, total);
        prop_assert!(f64::from(allowed) <= share * f64::from(total) + 1e-6);
        prop_assert!(f64::from(allowed) + 1.0 > share * f64::from(total) - 1e-6);
    }

    #[test]
    fn dates_never_run_backwards(pack_day in day(), age in 0..30_i64, days in 1..60_u32) {
        let lay = pack_day - TimeDelta::days(age);
        let house = HousePolicy { best_by_days: Some(days), ..HousePolicy::default() };
        let none = HousePolicy::default();
        for pack in [RulePack::us_federal(), RulePack::eu()] {
            let last = |h: &HousePolicy| {
                last_day(LastDay::BestBy, pack_day, lay, &pack, h).unwrap().value.unwrap()
            };
            prop_assert!(last(&house) <= last(&none), "the house can only shorten");
            let older = last_day(LastDay::BestBy, pack_day, lay - TimeDelta::days(1), &pack, &none);
            prop_assert!(older.unwrap().value.unwrap() <= last(&none));
        }
    }

    #[test]
    fn ordinal_dates_sort_as_days_do(a in day(), b in day()) {
        prop_assert_eq!(a.cmp(&b), ordinal_date(a).cmp(&ordinal_date(b)));
    }

    #[test]
    fn late_means_after_the_deadline(lay in 0..2_000_000_000_i64, after in 0..400_000_i64) {
        let pack = RulePack::us_federal();
        let lay = DateTime::<Utc>::from_timestamp(lay, 0).unwrap();
        let at = lay + TimeDelta::seconds(after);
        let deadline = cold_deadline(Species::Hen, lay, &pack).unwrap().value;
        let late = matches!(
            chill_standing(Species::Hen, lay, at, &pack).unwrap().value,
            Standing::Late { .. }
        );
        prop_assert_eq!(late, at > deadline);
    }

    #[test]
    fn water_in_a_basin_only_falls(
        litres in 1.0..50.0_f64, water in 33.0..50.0_f64, egg in 0.0..30.0_f64,
        n in 0..200_u32, more in 0..200_u32,
    ) {
        let basin = Basin {
            water: Litres(litres),
            start: Celsius(water),
            room: Celsius(18.0),
            loss: 4.0,
            species: Species::Hen,
            egg_mass: Grams(60.0),
            egg: Celsius(egg),
            each: Minutes(0.5),
        };
        let (few, many) = (basin.after(n).unwrap().0, basin.after(n + more).unwrap().0);
        prop_assert!(many <= few + 1e-9 && few <= water + 1e-9);
        prop_assert!(many >= egg.min(18.0) - 1e-9);
    }

    #[test]
    fn packs_come_back_as_they_were_stored(ppm in 1.0..400.0_f64, f in 60.0..130.0_f64) {
        let mut pack = RulePack::custom(&RulePack::us_federal(), "own");
        if let Some(rule) = &mut pack.cleaning.sanitiser_ppm {
            rule.value = (ppm, ppm + 100.0 / 3.0);
        }
        if let Some(rule) = &mut pack.cleaning.water_min {
            rule.value = Celsius::from_fahrenheit(f);
        }
        prop_assert_eq!(RulePack::from_json(&pack.to_json().unwrap()).unwrap(), pack);
    }
}
