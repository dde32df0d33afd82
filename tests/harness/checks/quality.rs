use pointdown_core::trade::Species;
use pointdown_core::trade::haugh::{HaughForm, haugh};
use pointdown_core::trade::quality::{
    Quality, QualityScheme, Seen, Spots, Stain, StainTone, White, Yolk,
};
use pointdown_core::trade::rules::RulePack;
use pointdown_core::trade::units::{Grams, Millimetres};

use super::boundary::{first, last};
use super::{Check, Kind};

const WAC: &str = "WAC 16-104-130, after AMS 56";
const HAWAII: &str = "Haw. Code R. 4-46-1";
const TERMS: &str = "encyclopaedia quoting the federal terms for white";

fn good() -> Seen {
    Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight)
}

/// Whether an egg has one of these grades.
fn is(scheme: &QualityScheme, seen: &Seen, grades: &[&str]) -> bool {
    match scheme.judge(Species::Hen, seen).map(|f| f.value) {
        Ok(Quality::Grade(code)) => grades.contains(&code.as_str()),
        _ => false,
    }
}

pub(super) fn rows() -> Vec<Check> {
    let (Some(us), Some(eu)) = (RulePack::us_federal().quality, RulePack::eu().quality) else {
        return Vec::new();
    };
    let published = |name: &str, source: &str, expected, tolerance, got| {
        Check::new(name, source, Kind::Published, expected, tolerance, got)
    };
    let cell = |scheme: &QualityScheme, grades: &[&str]| {
        last(0.5, 29.0, |mm| {
            let seen = Seen {
                air_cell: Some(Millimetres(mm)),
                ..good()
            };
            is(scheme, &seen, grades)
        })
    };
    let stain = |scattered| {
        last(0.001, 0.9, |share| {
            let stain = Stain {
                tone: StainTone::Moderate,
                share,
                scattered,
            };
            is(
                &us,
                &Seen {
                    stain: Some(stain),
                    ..good()
                },
                &["b"],
            )
        })
    };
    let spots = |grades: &[&str]| {
        last(0.1, 30.0, |mm| {
            let spots = Spots {
                size: Millimetres(mm),
                in_white: false,
            };
            is(
                &us,
                &Seen {
                    spots: Some(spots),
                    ..good()
                },
                grades,
            )
        })
    };
    let white = |wanted: &[&str]| {
        first(0.0, 120.0, |unit| {
            let grade = us.white_grade(Species::Hen, unit).ok().flatten();
            grade.is_some_and(|g| wanted.contains(&g.code.as_str()))
        })
    };
    let inch = |mm: f64| Millimetres(mm).inches();
    let article = "Reg. (EC) 557/2007 Art. 2";
    let mut rows = vec![
        published(
            "Deepest air cell of AA, in inches",
            WAC,
            0.125,
            1e-9,
            inch(cell(&us, &["aa"])),
        ),
        published(
            "Deepest air cell of A, in inches",
            WAC,
            0.1875,
            1e-9,
            inch(cell(&us, &["aa", "a"])),
        ),
        published(
            "Deepest air cell of EU extra, in mm",
            article,
            4.0,
            1e-9,
            cell(&eu, &["extra"]),
        ),
        published(
            "Deepest air cell of EU class A, in mm",
            article,
            6.0,
            1e-9,
            cell(&eu, &["extra", "a"]),
        ),
        published(
            "Largest stain of B in one place, 1 / share",
            WAC,
            32.0,
            1e-6,
            1.0 / stain(false),
        ),
        published(
            "Largest stain of B scattered, 1 / share",
            WAC,
            16.0,
            1e-6,
            1.0 / stain(true),
        ),
        published(
            "Largest spots of B, in inches",
            HAWAII,
            0.125,
            1e-9,
            inch(spots(&["b"])),
        ),
        published(
            "Least Haugh unit of a firm white (AA)",
            TERMS,
            72.0,
            1e-6,
            white(&["aa"]),
        ),
        published(
            "Least Haugh unit of a reasonably firm white (A)",
            TERMS,
            60.0,
            1e-6,
            white(&["aa", "a"]),
        ),
    ];
    let unit = |form, h, w| {
        let found = haugh(form, Millimetres(h), Grams(w)).ok().flatten();
        found.unwrap_or(f64::NAN)
    };
    // The original form is made so that an egg of two ounces has 100·log10 of its height.
    for h in [4.0_f64, 6.0, 10.0] {
        rows.push(Check::new(
            format!("Haugh unit of a 2 oz egg with {h} mm of white, original form"),
            "the form's own definition, from memory",
            Kind::Memory,
            100.0 * h.log10(),
            0.15,
            unit(HaughForm::Original, h, Grams::from_ounces(2.0).0),
        ));
    }
    for (form, name, h, w, expected) in [
        (HaughForm::Short, "short", 5.0, 60.0, 68.72),
        (HaughForm::Short, "short", 6.0, 50.0, 80.42),
        (HaughForm::Short, "short", 8.0, 70.0, 87.00),
        (HaughForm::Original, "original", 5.0, 60.0, 68.40),
        (HaughForm::Original, "original", 8.0, 70.0, 86.78),
    ] {
        rows.push(Check::new(
            format!("Haugh unit of a {w} g egg with {h} mm of white, {name} form"),
            "worked out apart from this code; no published table could be read",
            Kind::Memory,
            expected,
            0.006,
            unit(form, h, w),
        ));
    }
    rows
}
