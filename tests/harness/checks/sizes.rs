use pointdown_core::trade::Species;
use pointdown_core::trade::size::{self, SizeScheme};
use pointdown_core::trade::units::Grams;

use super::boundary::{first, last_whole};
use super::{Check, Kind};

const PA: &str = "7 Pa. Code § 87.42, after AMS 56.218";

/// Code, ounces a dozen, printed pounds a case, ounces a dozen for one egg, rounded grams a dozen.
const US: [(&str, f64, f64, Option<f64>, f64); 6] = [
    ("jumbo", 30.0, 56.0, Some(29.0), 850.0),
    ("extra_large", 27.0, 50.5, Some(26.0), 765.0),
    ("large", 24.0, 45.0, Some(23.0), 680.0),
    ("medium", 21.0, 39.5, Some(20.0), 595.0),
    ("small", 18.0, 34.0, Some(17.0), 510.0),
    ("peewee", 15.0, 28.0, None, 425.0),
];

/// The least weight of each of twelve equal eggs that makes the class or a heavier one.
fn least_carton(scheme: &SizeScheme, code: &str) -> f64 {
    let rank = |code: &str| scheme.classes.value.iter().position(|c| c.code == code);
    let wanted = rank(code);
    first(10.0, 100.0, |grams| {
        let found = scheme.class_of_carton(Species::Hen, &[Grams(grams); 12]);
        let found = found.ok().and_then(|f| f.value);
        found.is_some_and(|c| rank(&c.code) <= wanted)
    })
}

/// The least weight of one egg among heavy ones with which a carton still makes the class.
fn least_egg(scheme: &SizeScheme, code: &str) -> f64 {
    let Some(class) = scheme.class(code) else {
        return f64::NAN;
    };
    first(10.0, 90.0, |grams| {
        let mut eggs = [Grams(90.0); 12];
        eggs[5] = Grams(grams);
        scheme.carton(class, &eggs).is_ok_and(|w| w.meets)
    })
}

/// The least weight of a single egg on the scale that has the class.
fn least_on_scale(scheme: &SizeScheme, code: &str) -> f64 {
    let rank = |code: &str| scheme.classes.value.iter().position(|c| c.code == code);
    let wanted = rank(code);
    first(10.0, 100.0, |grams| {
        let found = scheme.class_of_egg(Species::Hen, Grams(grams));
        let found = found.ok().and_then(|f| f.value);
        found.is_some_and(|c| rank(&c.code) <= wanted)
    })
}

pub(super) fn rows() -> Vec<Check> {
    let us = size::us();
    let mut rows = Vec::new();
    for (code, ounces, pounds, single, grams) in US {
        let least = least_carton(&us, code);
        let dozen = Grams(least * 12.0);
        let row = |name: String, source: &str, expected, tolerance, got| {
            Check::new(name, source, Kind::Published, expected, tolerance, got)
        };
        rows.push(row(
            format!("US {code}: least net weight of a dozen, in oz"),
            PA,
            ounces,
            1e-6,
            dozen.ounces(),
        ));
        rows.push(row(
            // In print the case is rounded to half a pound.
            format!("US {code}: least net weight of 30 dozen, in lb (printed rounded)"),
            PA,
            pounds,
            0.26,
            Grams(dozen.0 * 30.0).pounds(),
        ));
        if let Some(single) = single {
            rows.push(row(
                format!("US {code}: least weight of one egg, as oz a dozen"),
                PA,
                single,
                1e-6,
                Grams(least_egg(&us, code) * 12.0).ounces(),
            ));
        }
        rows.push(row(
            format!("US {code}: least net weight of a dozen, in g (printed rounded)"),
            "catering text with a rounded table",
            grams,
            0.5,
            dozen.0,
        ));
    }
    type Limits = &'static [(&'static str, f64)];
    let scales: [(&str, SizeScheme, &str, Limits); 3] = [
        (
            "EU",
            size::eu(),
            "EU summary of the marketing standards for eggs",
            &[("xl", 73.0), ("l", 63.0), ("m", 53.0)],
        ),
        (
            "Canada",
            size::canada(),
            "open textbook table of Canadian sizes",
            &[
                ("jumbo", 70.0),
                ("extra_large", 63.0),
                ("large", 56.0),
                ("medium", 49.0),
                ("small", 42.0),
            ],
        ),
        (
            "New Zealand",
            size::new_zealand(),
            "national producer federation page",
            &[
                ("8", 68.0),
                ("7", 62.0),
                ("6", 53.0),
                ("5", 44.0),
                ("4", 35.0),
            ],
        ),
    ];
    for (place, scheme, source, classes) in scales {
        for (code, expected) in classes {
            rows.push(Check::new(
                format!("{place} {code}: least weight of an egg, in g"),
                source,
                Kind::Published,
                *expected,
                1e-6,
                least_on_scale(&scheme, code),
            ));
        }
    }
    rows.extend(lots(&us, &size::eu()));
    rows
}

fn lots(us: &SizeScheme, eu: &SizeScheme) -> Vec<Check> {
    let lower = |scheme: &SizeScheme, total| {
        last_whole(total, |n| {
            scheme.judge_lot(total, n, 0).is_some_and(|f| f.value.1)
        })
    };
    let article = "Reg. (EC) 557/2007 Art. 27";
    vec![
        Check::new(
            "US: eggs of the next lower class in a lot of 1000 (3.3 %)",
            "7 Pa. Code § 87.42(c)",
            Kind::Published,
            33.0,
            0.0,
            lower(us, 1000),
        ),
        Check::new(
            "US: eggs of the next lower class in one case of 360 (5 %)",
            "7 Pa. Code § 87.42(c)",
            Kind::Published,
            18.0,
            0.0,
            last_whole(360, |n| us.judge_case(360, n).is_some_and(|f| f.value.1)),
        ),
        Check::new(
            "EU: eggs of the next lower class in a lot of 1000 (5 %)",
            article,
            Kind::Published,
            50.0,
            0.0,
            lower(eu, 1000),
        ),
        Check::new(
            "EU: eggs of the next lower class in a lot of 100 (doubled below 180)",
            article,
            Kind::Published,
            10.0,
            0.0,
            lower(eu, 100),
        ),
        Check::new(
            "EU: eggs of the next lower class in a lot of 179 (doubled below 180)",
            article,
            Kind::Published,
            17.0,
            0.0,
            lower(eu, 179),
        ),
        Check::new(
            "EU: eggs of the next lower class in a lot of 180 (not doubled)",
            article,
            Kind::Published,
            9.0,
            0.0,
            lower(eu, 180),
        ),
        Check::new(
            "EU: eggs of both neighbouring classes in a lot of 1000 (10 %)",
            article,
            Kind::Published,
            100.0,
            0.0,
            last_whole(1000, |n| {
                eu.judge_lot(1000, 0, n).is_some_and(|f| f.value.1)
            }),
        ),
    ]
}
