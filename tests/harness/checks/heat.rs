use pointdown_core::trade::Species;
use pointdown_core::trade::body::{Composition, surface_area};
use pointdown_core::trade::conduction::roots;
use pointdown_core::trade::temperature::{HalfCooling, Surroundings};
use pointdown_core::trade::units::{Celsius, Grams, Minutes};

use super::{Check, Kind};

/// `α·cot α + C = 0` is the equation of the sphere with `C = Bi − 1`.
const ROOTS: &str =
    "Essentials of Applied Mathematics for Scientists and Engineers (2007), table A.2";
const FORMULA: &str =
    "Choi–Okos model and nutrient-table compositions, from memory; worked out apart from this code";

/// One line of the table: C and the first roots that could be read.
const TABLE: [(f64, &[f64]); 10] = [
    (0.5, &[1.8366, 4.8158, 7.9171]),
    (0.6, &[1.8798, 4.8358]),
    (0.8, &[1.9586, 4.8751]),
    (0.9, &[1.9947]),
    (1.0, &[2.0288, 4.9132, 7.9787]),
    (2.0, &[2.2889, 5.0870, 8.0962]),
    (3.0, &[2.4557, 5.2329]),
    (5.0, &[2.6537, 5.4544, 8.3914]),
    (7.0, &[2.7654]),
    (9.0, &[2.8363, 5.7172]),
];

pub(super) fn rows() -> Vec<Check> {
    let mut rows = Vec::new();
    for (c, expected) in TABLE {
        let got = roots(c + 1.0, expected.len());
        for (n, (expected, got)) in expected.iter().zip(got).enumerate() {
            rows.push(Check::new(
                format!("Cooling sphere, Biot number {}, root {}", c + 1.0, n + 1),
                ROOTS,
                Kind::Published,
                *expected,
                0.00006,
                got,
            ));
        }
    }
    rows.push(Check::new(
        // 68.5 mL at the 1.065 g/mL of the density law.
        "Surface of an egg of 68.5 mL, in cm²",
        "worked example that quotes the law of The Condor 76:319–325 (1974)",
        Kind::Published,
        81.7,
        1.3,
        surface_area(Grams(68.5 * 1.065)).unwrap_or(f64::NAN),
    ));
    let specific_heat = |species, t| {
        let found = Composition::of(species).specific_heat(Celsius(t));
        found.map_or(f64::NAN, |j| j / 1000.0)
    };
    rows.push(Check::new(
        "Specific heat of whole egg above freezing, in kJ/(kg·K)",
        "refrigeration handbook, thermal properties of foods, table 3",
        Kind::Memory,
        3.63,
        3.63 * 0.02,
        specific_heat(Species::Hen, 5.0),
    ));
    for (species, t, expected) in [
        (Species::Hen, 5.0, 3.609),
        (Species::Hen, 20.0, 3.614),
        (Species::Duck, 5.0, 3.492),
        (Species::Goose, 20.0, 3.491),
        (Species::Quail, 5.0, 3.572),
        (Species::Turkey, 20.0, 3.538),
    ] {
        rows.push(Check::new(
            format!(
                "Specific heat of {} egg at {t} °C, in kJ/(kg·K)",
                species.code()
            ),
            FORMULA,
            Kind::Memory,
            expected,
            0.0006,
            specific_heat(species, t),
        ));
    }
    rows.extend(halves());
    rows
}

/// Cooling by halves and the lump behind it.
fn halves() -> Vec<Check> {
    let f = Celsius::from_fahrenheit;
    let hour = HalfCooling(Minutes(60.0));
    let to = |start| {
        let time = hour.time_to(f(start), f(40.0), f(45.0));
        time.map_or(f64::NAN, |t| t.hours())
    };
    let memory = |name: &str, expected, tolerance, got| {
        let source = "half-cooling model of any refrigeration text, from memory";
        Check::new(name, source, Kind::Memory, expected, tolerance, got)
    };
    let loose = HalfCooling::of(Species::Hen, Grams(60.0), Surroundings::Loose);
    vec![
        memory(
            "Half-cooling times from 85 to 45 °F in 40 °F",
            3.17,
            0.005,
            to(85.0),
        ),
        memory(
            "Half-cooling times from 70 to 45 °F in 40 °F",
            2.58,
            0.005,
            to(70.0),
        ),
        memory(
            "Half-cooling of a loose 60 g egg in still air (5 W/(m²·K)), in minutes",
            64.0,
            1.5,
            loose.map_or(f64::NAN, |r| r.high.0.0),
        ),
    ]
}
