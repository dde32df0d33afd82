//! The weight classes that are built in.

use super::super::finding::Mark;
use super::super::rule::Rule;
use super::super::species::Species;
use super::super::units::Grams;
use super::{SizeClass, SizeScheme, SizeTolerance};

fn class(code: &str, name: &str, min: f64) -> SizeClass {
    SizeClass {
        code: code.to_owned(),
        name: name.to_owned(),
        min: Grams(min),
        single_min: None,
        case_pounds: None,
    }
}

fn scheme(code: &str, name: &str, classes: Vec<SizeClass>, source: &str, mark: Mark) -> SizeScheme {
    SizeScheme {
        code: code.to_owned(),
        name: name.to_owned(),
        species: vec![Species::Hen],
        classes: Rule {
            value: classes,
            source: source.to_owned(),
            mark,
        },
        tolerance: None,
        heavier_allowed: None,
    }
}

/// The six weight classes of the United States, by net weight of the dozen.
pub fn us() -> SizeScheme {
    let rows: [(&str, &str, f64, f64, Option<f64>); 6] = [
        ("jumbo", "Jumbo", 30.0, 56.0, Some(29.0)),
        ("extra_large", "Extra Large", 27.0, 50.5, Some(26.0)),
        ("large", "Large", 24.0, 45.0, Some(23.0)),
        ("medium", "Medium", 21.0, 39.5, Some(20.0)),
        ("small", "Small", 18.0, 34.0, Some(17.0)),
        ("peewee", "Peewee", 15.0, 28.0, None),
    ];
    let each = |ounces_a_dozen: f64| Grams::from_ounces(ounces_a_dozen / 12.0);
    let classes = rows
        .into_iter()
        .map(|(code, name, dozen, case, single)| SizeClass {
            // A class without a minimum for single eggs does not refuse a light one.
            single_min: Some(single.map_or(Grams(0.0), each)),
            case_pounds: Some(case),
            ..class(code, name, each(dozen).0)
        })
        .collect();
    let source = "7 Pa. Code § 87.42, after AMS 56.218 (effective 20 July 2000)";
    SizeScheme {
        tolerance: Some(Rule::seen(
            SizeTolerance {
                lower: 0.033,
                lower_in_case: Some(0.05),
                neighbours: None,
                doubled_below: None,
            },
            "7 Pa. Code § 87.42(c)",
        )),
        heavier_allowed: Some(Rule::seen(
            true,
            "7 Pa. Code § 87.42: minimum weights only, no class has an upper limit",
        )),
        ..scheme("us", "US weight classes", classes, source, Mark::Seen)
    }
}

/// The four weight classes of the European Union, by single eggs.
pub fn eu() -> SizeScheme {
    let classes = vec![
        class("xl", "XL (very large)", 73.0),
        class("l", "L (large)", 63.0),
        class("m", "M (medium)", 53.0),
        class("s", "S (small)", 0.0),
    ];
    let source = "EU summary of the marketing standards for eggs; Reg. (EU) 2023/2465";
    SizeScheme {
        tolerance: Some(Rule::seen(
            SizeTolerance {
                lower: 0.05,
                lower_in_case: None,
                neighbours: Some(0.10),
                doubled_below: Some(180),
            },
            "Reg. (EC) 557/2007 Art. 27",
        )),
        heavier_allowed: Some(Rule::seen(
            false,
            "EU summary of the marketing standards: each class ends under the next (L is at least \
             63 g and under 73 g)",
        )),
        ..scheme("eu", "EU weight classes", classes, source, Mark::Seen)
    }
}

/// The weight classes of Canada, by single eggs.
pub fn canada() -> SizeScheme {
    let classes = vec![
        class("jumbo", "Jumbo Size", 70.0),
        class("extra_large", "Extra Large Size", 63.0),
        class("large", "Large Size", 56.0),
        class("medium", "Medium Size", 49.0),
        class("small", "Small Size", 42.0),
        class("peewee", "Peewee Size", 0.0),
    ];
    scheme(
        "ca",
        "Canadian weight classes",
        classes,
        "open textbook table of Canadian sizes",
        Mark::Seen,
    )
}

/// The sizes of New Zealand, by single eggs.
pub fn new_zealand() -> SizeScheme {
    let classes = vec![
        class("8", "Size 8 (jumbo)", 68.0),
        class("7", "Size 7 (large)", 62.0),
        class("6", "Size 6 (standard)", 53.0),
        class("5", "Size 5 (medium)", 44.0),
        class("4", "Size 4 (pullet)", 35.0),
    ];
    scheme(
        "nz",
        "New Zealand sizes",
        classes,
        "national producer federation page",
        Mark::Seen,
    )
}

/// The sizes of the Australian industry guide, by single eggs. Known only from a second-hand copy.
pub fn australia() -> SizeScheme {
    let classes = vec![
        class("king", "King Size", 70.0),
        class("jumbo", "Jumbo", 66.7),
        class("extra_large", "Extra-Large", 58.3),
        class("large", "Large", 50.0),
        class("medium", "Medium", 42.0),
    ];
    scheme(
        "au",
        "Australian industry sizes",
        classes,
        "industry guide, second-hand copy",
        Mark::Memory,
    )
}

/// Every scheme that is built in.
pub fn schemes() -> Vec<SizeScheme> {
    vec![us(), eu(), canada(), new_zealand(), australia()]
}
