use chrono::NaiveDate;
use pointdown_core::trade::Species;
use pointdown_core::trade::label::{
    LabelLine, LabelRequest, Part, Producer, SizeWords, label, type_height,
};
use pointdown_core::trade::rules::{HousePolicy, RulePack};

use super::boundary::last;
use super::{Check, Kind};

/// Typed here from the regulation a second time, so that a slip in the pack shows.
const STATEMENT: &str = "SAFE HANDLING INSTRUCTIONS: To prevent illness from bacteria: keep eggs refrigerated, cook eggs until yolks are firm, and cook foods containing eggs thoroughly.";

fn request(species: Species, grade: Option<&str>) -> LabelRequest {
    let day = NaiveDate::from_ymd_opt(2026, 3, 1).unwrap_or_default();
    LabelRequest {
        species,
        eggs: 12,
        size: SizeWords::Unsized,
        weighed: true,
        grade: grade.map(str::to_owned),
        graded: true,
        pack_day: day,
        oldest_lay: day,
        best_by: None,
        producer: Some(Producer {
            name: "Example Farm".to_owned(),
            address: vec!["1 Example Lane".to_owned()],
            code: None,
        }),
        lot: None,
        claims: vec![],
    }
}

fn print(request: &LabelRequest) -> Option<Vec<LabelLine>> {
    let found = label(request, &RulePack::us_federal(), &HousePolicy::default());
    found.ok().map(|f| f.value)
}

fn flag(yes: bool) -> f64 {
    f64::from(u8::from(yes))
}

pub(super) fn rows() -> Vec<Check> {
    let published = |name: &str, source: &str, expected, got| {
        Check::new(name, source, Kind::Published, expected, 1e-9, got)
    };
    let carton = print(&request(Species::Hen, None)).unwrap_or_default();
    let safe = carton.iter().find(|l| l.part == Part::SafeHandling);
    let statement = "21 CFR 101.17(h), read in the 2015 edition";
    let mut rows = vec![
        published(
            "Safe-handling statement, letter for letter (1: the same)",
            statement,
            1.0,
            flag(safe.is_some_and(|l| l.text == STATEMENT)),
        ),
        published(
            "Letters of it printed bold: SAFE HANDLING INSTRUCTIONS",
            statement,
            "SAFE HANDLING INSTRUCTIONS".len() as f64,
            safe.map_or(f64::NAN, |l| l.bold as f64),
        ),
        published(
            "It stands in a box (1: yes)",
            statement,
            1.0,
            flag(safe.is_some_and(|l| l.boxed)),
        ),
        published(
            "Keep Refrigerated is on the carton (1: yes)",
            statement,
            1.0,
            flag(carton.iter().any(|l| l.text == "Keep Refrigerated")),
        ),
        published(
            "Species that may carry a US grade, of six",
            "7 CFR 56.1, read in the 2015 edition",
            1.0,
            Species::ALL
                .into_iter()
                .filter(|s| print(&request(*s, Some("a"))).is_some())
                .count() as f64,
        ),
    ];
    // The largest panel for each height of type.
    for (height, area) in [
        (1.0 / 16.0, 5.0),
        (1.0 / 8.0, 25.0),
        (3.0 / 16.0, 100.0),
        (0.25, 400.0),
    ] {
        rows.push(Check::new(
            format!("Largest panel with type of {height} inch, in square inches"),
            "21 CFR 101.105(i), read in the 2015 edition",
            Kind::Published,
            area,
            1e-6,
            last(0.2, 1900.0, |a| type_height(a).is_ok_and(|h| h <= height)),
        ));
    }
    let thresholds = RulePack::us_federal().thresholds;
    for (start, source, expected) in [
        ("hens: with fewer", "21 CFR 118.1", 3000.0),
        ("hens or fewer", "7 CFR 57.100(d)", 3000.0),
        ("dozen of restricted", "7 CFR 57.100(c)", 30.0),
        ("years", "7 CFR 57.200", 2.0),
    ] {
        let found = thresholds.iter().find(|t| t.meaning.starts_with(start));
        rows.push(Check::new(
            format!("Threshold: {}", found.map_or(start, |t| t.meaning.as_str())),
            format!("{source}, read in the 2015 edition"),
            Kind::Published,
            expected,
            0.0,
            found.map_or(f64::NAN, |t| f64::from(t.number.value)),
        ));
    }
    rows
}
