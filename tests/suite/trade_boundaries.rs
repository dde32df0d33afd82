//! Impossible input gets an error that names the field, the value and what is allowed; the last
//! possible value on either side is taken.

use pointdown_core::trade::body::{Egg, surface_area};
use pointdown_core::trade::dew::dew_point;
use pointdown_core::trade::haugh::{HaughForm, haugh};
use pointdown_core::trade::label::type_height;
use pointdown_core::trade::quality::{Seen, Spots, Stain, StainTone, White, Yolk};
use pointdown_core::trade::rules::{HousePolicy, RulePack};
use pointdown_core::trade::size;
use pointdown_core::trade::temperature::{LAID, Stay, Surroundings, estimate, time_to_reach};
use pointdown_core::trade::units::{Celsius, Grams, Millimetres, Range};
use pointdown_core::trade::wash::water;
use pointdown_core::trade::{Means, Species, TradeError, WashDone, check_wash};

/// Asks on both sides of both ends of what is allowed.
fn ends<T>(field: &str, low: f64, high: f64, ask: impl Fn(f64) -> Result<T, TradeError>) {
    assert!(ask(low).is_ok(), "{field}: {low}");
    assert!(ask(high).is_ok(), "{field}: {high}");
    for value in [
        low - 0.001,
        high + 0.001,
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
    ] {
        match ask(value) {
            Err(TradeError::OutOfRange {
                field: found,
                low: l,
                high: h,
                ..
            }) => {
                assert_eq!((found, l, h), (field, low, high), "{value}");
            }
            Err(other) => panic!("{field} {value}: {other}"),
            Ok(_) => panic!("{field} {value} was taken"),
        }
    }
}

fn good_egg() -> Seen {
    Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight)
}

#[test]
fn weights() {
    let us = size::us();
    ends("egg weight", 1.0, 500.0, |g| {
        us.class_of_egg(Species::Hen, Grams(g))
    });
    ends("egg weight", 1.0, 500.0, |g| {
        us.class_of_carton(Species::Hen, &[Grams(g); 6])
    });
    ends("egg weight", 1.0, 500.0, |g| surface_area(Grams(g)));
    ends("egg weight", 1.0, 500.0, |g| {
        Egg::new(Species::Goose, Grams(g))
    });
    ends("egg weight", 1.0, 500.0, |g| {
        haugh(HaughForm::Short, Millimetres(6.0), Grams(g))
    });
}

#[test]
fn heights_and_depths() {
    ends("height of the white", 0.0, 20.0, |h| {
        haugh(HaughForm::Original, Millimetres(h), Grams(60.0))
    });
    let scheme = RulePack::us_federal().quality.unwrap();
    let judge = |seen: &Seen| scheme.judge(Species::Hen, seen);
    ends("air cell", 0.0, 40.0, |d| {
        judge(&Seen {
            air_cell: Some(Millimetres(d)),
            ..good_egg()
        })
    });
    ends("size of the spots", 0.0, 40.0, |d| {
        let spots = Spots {
            size: Millimetres(d),
            in_white: false,
        };
        judge(&Seen {
            spots: Some(spots),
            ..good_egg()
        })
    });
    ends("share of the surface stained", 0.0, 1.0, |share| {
        let stain = Stain {
            tone: StainTone::Moderate,
            share,
            scattered: false,
        };
        judge(&Seen {
            stain: Some(stain),
            ..good_egg()
        })
    });
}

#[test]
fn temperatures() {
    let pack = RulePack::us_federal();
    ends("egg temperature", -5.0, 50.0, |t| {
        water(Species::Hen, Range::exact(Celsius(t)), &pack)
    });
    let wash = |done: WashDone| check_wash(&done, &pack, &HousePolicy::default());
    let spray = || WashDone::with(Species::Hen, Means::Spray);
    ends("water temperature at the start", 0.0, 100.0, |t| {
        wash(WashDone {
            water_start: Some(Celsius(t)),
            ..spray()
        })
    });
    ends("water temperature at the end", 0.0, 100.0, |t| {
        wash(WashDone {
            water_end: Some(Celsius(t)),
            ..spray()
        })
    });
    ends("rinse temperature", 0.0, 100.0, |t| {
        wash(WashDone {
            rinse: Some(Celsius(t)),
            ..spray()
        })
    });
    ends("sanitiser", 0.0, 100_000.0, |ppm| {
        wash(WashDone {
            sanitiser_ppm: Some(ppm),
            ..spray()
        })
    });
    ends("air temperature", -40.0, 60.0, |t| {
        dew_point(Celsius(t), 50.0)
    });
    ends("relative humidity", 1.0, 100.0, |rh| {
        dew_point(Celsius(20.0), rh)
    });
    ends("temperature around the egg", -30.0, 60.0, |t| {
        let stay = Stay::exactly(Surroundings::Nest, Celsius(t), 30.0);
        estimate(Species::Hen, Grams(60.0), LAID, &[stay])
    });
    ends("area of the panel", 0.1, 2000.0, type_height);
}

#[test]
fn a_target_that_is_never_reached_is_an_error() {
    let cold = Celsius::from_fahrenheit(45.0);
    let reach = |around: f64| {
        time_to_reach(
            Species::Hen,
            Grams(60.0),
            Celsius(30.0),
            Surroundings::Carton,
            Celsius::from_fahrenheit(around),
            cold,
        )
    };
    assert!(reach(40.0).is_ok());
    let error = reach(45.0).unwrap_err().to_string();
    assert!(
        error.starts_with("target temperature is 45.0 °F"),
        "{error}"
    );
    assert!(reach(46.0).is_err());
}

#[test]
fn more_packaging_cools_more_slowly() {
    let likely = |s| {
        let found = time_to_reach(
            Species::Hen,
            Grams(60.0),
            Celsius(30.0),
            s,
            Celsius(4.0),
            Celsius::from_fahrenheit(45.0),
        );
        found.unwrap().value.likely.0
    };
    let order = [
        Surroundings::Water,
        Surroundings::Fan,
        Surroundings::Loose,
        Surroundings::Tray,
        Surroundings::Carton,
        Surroundings::VentedCase,
        Surroundings::ClosedCase,
    ];
    assert!(
        order
            .windows(2)
            .all(|pair| likely(pair[0]) < likely(pair[1]))
    );
}
