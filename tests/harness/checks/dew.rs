use pointdown_core::trade::dew::{dew_point, saturation_pressure, sweat, sweating_humidity};
use pointdown_core::trade::units::Celsius;
use psychrometry::psychrolib::{get_sat_vap_pres, get_vap_pres_from_rel_hum};
use psychrometry::quantities::{Pressure, Temperature};
use psychrometry::units::{Celcius, Pascal};

use super::boundary::last;
use super::{Check, Kind};

const ASHRAE: &str = "psychrometry 0.3 (ASHRAE Fundamentals 2017, eqs. 5 and 6)";
const HATCHERY: &str = "hatchery handbook excerpt";
const QUOTED: &str = "ASHRAE Fundamentals 2017 ch. 1 table 3, as a library's tests quote it";

fn saturation(celsius: f64) -> f64 {
    get_sat_vap_pres::<Celcius, Pascal>(Temperature::<Celcius>::from(celsius))
        .map_or(f64::NAN, f64::from)
}

/// The dew point by the library: where saturation reaches the vapour pressure of the air.
fn library_dew_point(air: f64, humidity: f64) -> f64 {
    let vapour: Result<Pressure<Pascal>, _> =
        get_vap_pres_from_rel_hum(Temperature::<Celcius>::from(air), humidity / 100.0);
    let Ok(vapour) = vapour else {
        return f64::NAN;
    };
    let vapour = f64::from(vapour);
    last(-20.0, air + 1.0, |t| saturation(t) <= vapour)
}

pub(super) fn rows() -> Vec<Check> {
    let mut rows = Vec::new();
    for (air, humidity) in [
        (15.0, 80.0),
        (20.0, 50.0),
        (20.0, 60.0),
        (22.0, 60.0),
        (25.0, 50.0),
        (30.0, 70.0),
        (32.0, 60.0),
        (38.0, 55.0),
    ] {
        rows.push(Check::new(
            format!("Dew point of air at {air} °C and {humidity} %, in °C"),
            ASHRAE,
            Kind::Published,
            library_dew_point(air, humidity),
            0.05,
            dew_point(Celsius(air), humidity).map_or(f64::NAN, |t| t.0),
        ));
    }
    for (t, expected) in [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)] {
        rows.push(Check::new(
            format!("Saturation pressure at {t} °C, in Pa"),
            QUOTED,
            Kind::Published,
            expected,
            // The Magnus form is good to some tenths of a percent.
            expected * 0.003,
            saturation_pressure(Celsius(t)).map_or(f64::NAN, |p| p),
        ));
    }
    for (egg, air) in [
        (38.0, 70.0),
        (45.0, 60.0),
        (45.0, 80.0),
        (55.0, 75.0),
        (60.0, 90.0),
    ] {
        let c = |f: f64| Celsius::from_fahrenheit(f);
        rows.push(Check::new(
            format!("Humidity from which an egg at {egg} °F sweats in air at {air} °F, in %"),
            ASHRAE,
            Kind::Published,
            100.0 * saturation(c(egg).0) / saturation(c(air).0),
            0.15,
            sweating_humidity(c(egg), c(air))
                .ok()
                .flatten()
                .unwrap_or(f64::NAN),
        ));
    }
    // Published in whole degrees: the warmest egg that still sweats.
    for (air, humidity, expected, tolerance) in [(25.0, 50.0, 14.0, 0.5), (38.0, 55.0, 27.0, 0.5)] {
        rows.push(Check::new(
            format!("Warmest egg that sweats in air at {air} °C and {humidity} %, in °C"),
            HATCHERY,
            Kind::Published,
            expected,
            tolerance,
            last(0.0, 45.0, |egg| {
                sweat(Celsius(egg), Celsius(air), humidity).is_ok_and(|f| f.value.sweats)
            }),
        ));
    }
    rows
}
