use super::*;
use crate::trade::units::Grams;

fn request() -> LabelRequest {
    LabelRequest {
        species: Species::Hen,
        eggs: 12,
        size: SizeWords::Class("large".to_owned()),
        weighed: true,
        grade: Some("a".to_owned()),
        graded: true,
        pack_day: "2026-03-02".parse().unwrap(),
        oldest_lay: "2026-03-01".parse().unwrap(),
        best_by: None,
        producer: Some(Producer {
            name: "Example Farm".to_owned(),
            address: vec!["1 Example Lane".to_owned()],
            code: None,
        }),
        lot: Some("2026-060-hen".to_owned()),
        claims: vec![],
    }
}

fn print(request: &LabelRequest, pack: &RulePack) -> Result<Vec<LabelLine>, TradeError> {
    label(request, pack, &HousePolicy::default()).map(|f| f.value)
}

fn text(lines: &[LabelLine], part: Part) -> Option<&str> {
    lines
        .iter()
        .find(|l| l.part == part)
        .map(|l| l.text.as_str())
}

#[test]
fn a_carton_of_hens_eggs_says_all_it_has_to() {
    let lines = print(&request(), &RulePack::us_federal()).unwrap();
    assert_eq!(text(&lines, Part::Count), Some("12 Large eggs"));
    assert_eq!(text(&lines, Part::Grade), Some("Grade A"));
    assert_eq!(
        text(&lines, Part::PackDay),
        Some("Packed 2026-03-02 (day 061)")
    );
    assert_eq!(text(&lines, Part::BestBy), Some("Best by 2026-04-15"));
    assert_eq!(text(&lines, Part::KeepCold), Some("Keep Refrigerated"));
    let safe = lines.iter().find(|l| l.part == Part::SafeHandling).unwrap();
    assert_eq!(&safe.text[..safe.bold], "SAFE HANDLING INSTRUCTIONS");
    assert!(safe.boxed && safe.required);
}

#[test]
fn no_grade_and_no_class_for_other_species() {
    let pack = RulePack::us_federal();
    let duck = LabelRequest {
        species: Species::Duck,
        ..request()
    };
    let error = print(&duck, &pack).unwrap_err().to_string();
    assert!(error.contains("no weight classes for duck eggs"), "{error}");
    let duck = LabelRequest {
        size: SizeWords::Unsized,
        ..duck
    };
    let error = print(&duck, &pack).unwrap_err().to_string();
    assert!(error.contains("no grades for duck eggs"), "{error}");
    let duck = LabelRequest {
        grade: None,
        ..duck
    };
    let lines = print(&duck, &pack).unwrap();
    assert_eq!(text(&lines, Part::Identity), Some("Duck eggs"));
    assert_eq!(lines[0].bold, "Duck eggs".len());
    assert_eq!(text(&lines, Part::Grade), None);
}

#[test]
fn words_nobody_has_a_right_to_are_refused() {
    let pack = RulePack::us_federal();
    let no = |r: LabelRequest| print(&r, &pack).unwrap_err().to_string();
    let unweighed = no(LabelRequest {
        weighed: false,
        ..request()
    });
    assert!(unweighed.contains("weighed"), "{unweighed}");
    assert!(
        no(LabelRequest {
            graded: false,
            ..request()
        })
        .contains("graded")
    );
    let unknown = LabelRequest {
        grade: Some("aaa".to_owned()),
        ..request()
    };
    assert!(no(unknown).contains("aa, a, b"));
    for claim in [
        "USDA inspected",
        "officially graded",
        "Truly Grade AA",
        "Jumbo  duck eggs",
        "Large",
        "Size: extra-large",
        "AA quality",
        "Class A extra",
        "Size XL",
    ] {
        let words = no(LabelRequest {
            claims: vec![claim.to_owned()],
            ..request()
        });
        assert!(words.contains("claim"), "{words}");
    }
    let claim = |words: &str| LabelRequest {
        claims: vec![words.to_owned()],
        ..request()
    };
    for fine in [
        "Unwashed",
        "From a large orchard",
        "A fresh egg a day",
        "Small farm",
    ] {
        assert!(print(&claim(fine), &pack).is_ok(), "{fine}");
    }
    // A pack without grades and classes does not let the words of the baselines through.
    let bare = RulePack {
        quality: None,
        sizes: None,
        ..RulePack::custom(&pack, "own")
    };
    for words in ["Grade A", "Jumbo"] {
        let request = LabelRequest {
            grade: None,
            size: SizeWords::Unsized,
            ..claim(words)
        };
        assert!(print(&request, &bare).is_err(), "{words}");
    }
    let late = LabelRequest {
        best_by: Some("2026-04-16".parse().unwrap()),
        ..request()
    };
    assert!(no(late).contains("2026-04-15 or earlier"));
    // The pack day itself may be the best-by; the day before may not.
    let best_by = |day: &str| LabelRequest {
        best_by: Some(day.parse().unwrap()),
        ..request()
    };
    assert!(print(&best_by("2026-03-02"), &pack).is_ok());
    assert!(no(best_by("2026-03-01")).contains("2026-03-02 or later"));
    let nobody = LabelRequest {
        producer: None,
        ..request()
    };
    assert!(no(nobody).contains("producer"));
    let old = LabelRequest {
        oldest_lay: "2026-02-08".parse().unwrap(),
        ..request()
    };
    assert!(no(old).contains("packed by 2026-03-01"));
}

#[test]
fn the_eu_keeps_class_b_out_of_shops() {
    let pack = RulePack::eu();
    let b = LabelRequest {
        grade: Some("b".to_owned()),
        size: SizeWords::Class("l".to_owned()),
        ..request()
    };
    assert!(
        print(&b, &pack)
            .unwrap_err()
            .to_string()
            .contains("allowed is extra, a")
    );
    let a = LabelRequest {
        grade: Some("a".to_owned()),
        ..b
    };
    let lines = print(&a, &pack).unwrap();
    assert_eq!(text(&lines, Part::BestBy), Some("Best by 2026-03-29"));
    assert_eq!(text(&lines, Part::SafeHandling), None);
    let mixed = LabelRequest {
        size: SizeWords::Mixed(Grams(712.9)),
        ..a
    };
    let lines = print(&mixed, &pack).unwrap();
    assert_eq!(
        text(&lines, Part::Count),
        Some("12 eggs of different sizes, net weight at least 712 g")
    );
}

#[test]
fn type_heights_hold_up_to_and_with_their_panel() {
    for (panel, height) in [
        (5.0, 1.0 / 16.0),
        (5.01, 1.0 / 8.0),
        (25.0, 1.0 / 8.0),
        (25.01, 3.0 / 16.0),
        (100.0, 3.0 / 16.0),
        (100.01, 1.0 / 4.0),
        (400.0, 1.0 / 4.0),
        (400.01, 1.0 / 2.0),
    ] {
        assert_eq!(type_height(panel), Ok(height), "{panel} in²");
    }
}
