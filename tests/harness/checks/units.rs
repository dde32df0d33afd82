use pointdown_core::trade::units::{Celsius, CelsiusDelta, Grams, Litres, Millimetres};
use uom::si::f64::{Length, Mass, TemperatureInterval, ThermodynamicTemperature, Volume};
use uom::si::{
    length::{inch, millimeter},
    mass::{gram, ounce, pound},
    temperature_interval as interval, thermodynamic_temperature as reading,
    volume::{gallon, liter},
};

use super::{Check, Kind};

const UOM: &str = "uom 0.38 (independent units library)";

pub(super) fn rows() -> Vec<Check> {
    let uom = |name: String, expected: f64, got: f64| {
        // The library keeps the ounce and the gallon to seven digits only.
        Check::new(
            name,
            UOM,
            Kind::Published,
            expected,
            1e-6 * expected.abs().max(1.0),
            got,
        )
    };
    let mut rows = Vec::new();
    for f in [0.0, 20.0, 45.0, 90.0, 118.0] {
        let expected = ThermodynamicTemperature::new::<reading::degree_fahrenheit>(f)
            .get::<reading::degree_celsius>();
        let got = Celsius::from_fahrenheit(f).0;
        rows.push(uom(format!("A reading of {f} °F in °C"), expected, got));
    }
    for f in [20.0, 40.0] {
        let expected = TemperatureInterval::new::<interval::degree_fahrenheit>(f)
            .get::<interval::degree_celsius>();
        let got = CelsiusDelta::from_fahrenheit_delta(f).0;
        rows.push(uom(format!("A difference of {f} °F in °C"), expected, got));
    }
    for oz in [1.0, 24.0] {
        let expected = Mass::new::<ounce>(oz).get::<gram>();
        rows.push(uom(
            format!("{oz} oz in g"),
            expected,
            Grams::from_ounces(oz).0,
        ));
    }
    let expected = Mass::new::<pound>(45.0).get::<gram>();
    rows.push(uom(
        "45 lb in g".to_owned(),
        expected,
        Grams::from_pounds(45.0).0,
    ));
    let expected = Mass::new::<gram>(60.0).get::<ounce>();
    rows.push(uom("60 g in oz".to_owned(), expected, Grams(60.0).ounces()));
    for (name, inches) in [("1/8", 0.125), ("3/16", 0.1875), ("3/8", 0.375)] {
        let expected = Length::new::<inch>(inches).get::<millimeter>();
        let got = Millimetres::from_inches(inches).0;
        rows.push(uom(format!("{name} inch in mm"), expected, got));
    }
    let expected = Volume::new::<gallon>(2.5).get::<liter>();
    let got = Litres::from_us_gallons(2.5).0;
    rows.push(uom("2.5 US gallons in L".to_owned(), expected, got));

    let printed = |name: &str, source: &str, expected, got| {
        Check::new(name, source, Kind::Published, expected, 0.05, got)
    };
    rows.push(printed(
        "90 °F as printed in °C",
        "7 CFR 56.76(f)(3), read in the 2015 edition",
        32.2,
        Celsius::from_fahrenheit(90.0).0,
    ));
    rows.push(printed(
        "45 °F as printed in °C",
        "21 CFR 115.50, read in the 2015 edition",
        7.2,
        Celsius::from_fahrenheit(45.0).0,
    ));
    rows.push(Check::new(
        "20 °F warmer, as the difference printed in whole °C (not 6.7)",
        "Québec P-29, r. 1, s. 5.7.19",
        Kind::Published,
        11.0,
        0.5,
        CelsiusDelta::from_fahrenheit_delta(20.0).0,
    ));
    rows
}
