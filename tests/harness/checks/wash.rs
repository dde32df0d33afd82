use chrono::{DateTime, TimeDelta, Utc};
use pointdown_core::trade::clock::{Standing, chill_standing, temper_standing};
use pointdown_core::trade::rules::{HousePolicy, RulePack};
use pointdown_core::trade::units::{Celsius, Minutes, Range};
use pointdown_core::trade::wash::{Water, WaterWindow, water};
use pointdown_core::trade::{Cleaner, Means, Species, WashDone, WashFault, check_wash};

use super::boundary::{first, last, last_whole};
use super::{Check, Kind};

const CFR: &str = "7 CFR 56.76(f), read in the 2015 edition";
const COLD: &str = "21 CFR 118.4(e), read in the 2015 edition";

fn window(egg_fahrenheit: f64) -> Option<WaterWindow> {
    let egg = Range::exact(Celsius::from_fahrenheit(egg_fahrenheit));
    match water(Species::Hen, egg, &RulePack::us_federal())
        .ok()?
        .value
    {
        Water::Window(window) => Some(window),
        _ => None,
    }
}

/// A batch in which nothing is wrong.
fn good() -> WashDone {
    WashDone {
        cleaner: Some(Cleaner::EggWash),
        egg: Some(Celsius::from_fahrenheit(70.0)),
        water_start: Some(Celsius::from_fahrenheit(100.0)),
        water_end: Some(Celsius::from_fahrenheit(95.0)),
        rinse: Some(Celsius::from_fahrenheit(100.0)),
        sanitiser_ppm: Some(150.0),
        ..WashDone::with(Species::Hen, Means::Spray)
    }
}

fn has(done: &WashDone, fault: WashFault) -> bool {
    check_wash(done, &RulePack::us_federal(), &HousePolicy::default())
        .is_ok_and(|faults| faults.iter().any(|f| f.value == fault))
}

pub(super) fn rows() -> Vec<Check> {
    let cfr =
        |name: &str, expected, got| Check::new(name, CFR, Kind::Published, expected, 1e-6, got);
    let low = |egg: f64| window(egg).map_or(f64::NAN, |w| w.low.fahrenheit());
    let mut rows = vec![
        cfr(
            "Least wash water for an egg at 60 °F, in °F",
            90.0,
            low(60.0),
        ),
        cfr(
            "Least wash water for an egg at 70 °F, in °F",
            90.0,
            low(70.0),
        ),
        cfr(
            "Wash water over an egg at 75 °F, in °F",
            20.0,
            low(75.0) - 75.0,
        ),
        cfr(
            "Wash water over an egg at 85 °F, in °F",
            20.0,
            low(85.0) - 85.0,
        ),
        cfr(
            "Wash water over an egg at 98 °F, in °F",
            20.0,
            low(98.0) - 98.0,
        ),
        cfr(
            "Weakest sanitiser that passes, in ppm",
            100.0,
            first(0.0, 150.0, |ppm| {
                let done = WashDone {
                    sanitiser_ppm: Some(ppm),
                    ..good()
                };
                !has(&done, WashFault::SanitiserTooWeak)
            }),
        ),
        cfr(
            "Strongest sanitiser that passes, in ppm",
            200.0,
            last(150.0, 500.0, |ppm| {
                let done = WashDone {
                    sanitiser_ppm: Some(ppm),
                    ..good()
                };
                !has(&done, WashFault::SanitiserTooStrong)
            }),
        ),
        cfr(
            "Oldest wash water that passes, in hours",
            4.0,
            last(0.0, 24.0, |h| {
                let done = WashDone {
                    water_age: Some(Minutes::from_hours(h)),
                    ..good()
                };
                !has(&done, WashFault::WaterTooOld)
            }),
        ),
        cfr(
            "Coldest rinse after a wash at 95 °F, in °F",
            95.0,
            first(60.0, 120.0, |f| {
                let done = WashDone {
                    rinse: Some(Celsius::from_fahrenheit(f)),
                    ..good()
                };
                !has(&done, WashFault::RinseTooCold)
            }),
        ),
        cfr(
            "Longest stand in water that passes, in minutes",
            0.0,
            last(0.0, 60.0, |m| {
                let done = WashDone {
                    means: Means::Basin,
                    in_water: Some(Minutes(m)),
                    ..good()
                };
                !has(&done, WashFault::Soaked)
            }),
        ),
        Check::new(
            "Baskets through one bucket of water",
            "Conn. Regs 22-324-D7",
            Kind::Published,
            5.0,
            0.0,
            last_whole(20, |n| {
                let done = WashDone {
                    baskets: Some(n),
                    ..good()
                };
                !has(&done, WashFault::TooManyBaskets)
            }),
        ),
    ];
    let high = |egg: f64| {
        let high = window(egg).and_then(|w| w.high);
        high.map_or(f64::NAN, |t| t.0 - Celsius::from_fahrenheit(egg).0)
    };
    rows.push(Check::new(
        "Hottest water over the egg before shells crack, in °C",
        "food-technology encyclopaedia: 22 °C (about 40 °F)",
        Kind::Published,
        22.0,
        0.3,
        high(70.0),
    ));
    rows.extend(hours());
    rows
}

/// Limits in elapsed hours, found to the second.
fn hours() -> Vec<Check> {
    let pack = RulePack::us_federal();
    let start = DateTime::<Utc>::UNIX_EPOCH;
    let in_time = |standing: Option<Standing>| matches!(standing, Some(Standing::InTime { .. }));
    let at = |hours: f64| start + TimeDelta::seconds((hours * 3600.0) as i64);
    let hours_row = |name: &str, got| Check::new(name, COLD, Kind::Published, 36.0, 0.0003, got);
    vec![
        hours_row(
            "Longest from laying to the cooler, in hours",
            last(0.0, 100.0, |h| {
                in_time(
                    chill_standing(Species::Hen, start, at(h), &pack)
                        .ok()
                        .map(|f| f.value),
                )
            }),
        ),
        hours_row(
            "Longest that cold eggs may stand warm before washing, in hours",
            last(0.0, 100.0, |h| {
                in_time(
                    temper_standing(Species::Hen, start, at(h), &pack)
                        .ok()
                        .map(|f| f.value),
                )
            }),
        ),
        Check::new(
            "Warmest cooler, in °F",
            COLD,
            Kind::Published,
            45.0,
            1e-9,
            pack.chill
                .cooler_max
                .map_or(f64::NAN, |r| r.value.fahrenheit()),
        ),
        Check::new(
            "Coldest store for class A in the EU, in °C",
            "Reg. (EC) 557/2007 Art. 2",
            Kind::Published,
            5.0,
            0.0,
            RulePack::eu()
                .chill
                .cooler_min
                .map_or(f64::NAN, |r| r.value.0),
        ),
    ]
}
