//! What is printed on a carton is found again, in each of its forms.

use pointdown_core::farm::LabelWish;
use pointdown_core::paper::Stock;
use pointdown_core::record::{Draft, Fields, Id, Kind};
use pointdown_tests::phone::{Phone, at, gather};

fn start() -> Phone {
    let phone = Phone::first("Ada", "2026-05-01T06:00:00Z", "Etc/UTC");
    phone.env.set(at("2026-05-06T20:00:00Z"));
    let mut rules = Fields::new();
    rules.insert("rule_pack".into(), "us_federal".into());
    rules.insert(
        "producer".into(),
        "Larkmeadow, 12 Mill Lane, Anytown".into(),
    );
    phone.farm.amend(phone.farm.id(), rules, None).unwrap();
    for day in ["04", "05"] {
        let draft = gather("Orchard", "hen", 40);
        phone.log(draft.at(at(&format!("2026-05-{day}T08:00:00Z"))));
    }
    phone
}

fn pack(phone: &Phone, parts: &str, code: Option<&str>) -> Id {
    let mut draft = Draft::new(Kind::Carton)
        .with("parts", parts)
        .with("from", "basket")
        .with("species", "hen")
        .with("eggs_per_carton", 6)
        .with("cartons", 2)
        .with("packed", "2026-05-06")
        .at(at("2026-05-06T18:00:00Z"));
    if let Some(code) = code {
        draft = draft.with("code", code);
    }
    phone.log(draft)
}

fn runs(phone: &Phone, code: &str) -> Vec<Id> {
    let trails = phone.farm.trace(code).unwrap();
    trails.iter().map(|trail| trail.run.record).collect()
}

/// Days of the year by ISO 8601: 4 May 2026 is 124, 6 May 126.
#[test]
fn every_code_that_is_printed_is_found() {
    let phone = start();
    let written = pack(&phone, "2026-05-04/hen=12", Some("W-77"));
    let like_lot = pack(
        &phone,
        "2026-05-04/hen=6,2026-05-05/hen=6",
        Some("2026-124-hen"),
    );
    let of_lot = pack(&phone, "2026-05-04/hen=12", None);
    let mixed = pack(&phone, "2026-05-04/hen=1,2026-05-05/hen=11", None);
    let other = pack(&phone, "2026-05-04/hen=2,2026-05-05/hen=10", None);
    let of_day = |run: Id| format!("2026-126-hen-{}", run.short());
    let label = |run: Id| {
        let stock: Stock = "a4-2x4".parse().unwrap();
        phone.farm.label_page(&LabelWish::new(run, stock)).unwrap()
    };
    for (code, bearers) in [
        ("W-77".to_string(), vec![written]),
        // The one that wrote it down, and the one whose only lot it is.
        ("2026-124-hen".into(), vec![of_lot, like_lot]),
        (of_day(mixed), vec![mixed]),
        (of_day(other), vec![other]),
    ] {
        for run in &bearers {
            assert!(label(*run).page.html.contains(&code), "{code} is printed");
        }
        let mut wanted = bearers;
        wanted.sort();
        for typed in [code.clone(), format!(" {} ", code.to_lowercase())] {
            let mut found = runs(&phone, &typed);
            found.sort();
            assert_eq!(found, wanted, "{typed}");
        }
    }
    // A lot whose code no carton bears is still traced to what holds its eggs.
    let mut holding = runs(&phone, "2026-125-hen");
    holding.sort();
    let mut wanted = vec![like_lot, mixed, other];
    wanted.sort();
    assert_eq!(holding, wanted);
    assert!(phone.farm.trace("2026-126-hen-nobody").is_err());
    // Years later too.
    phone.env.set(at("2029-01-01T00:00:00Z"));
    assert_eq!(runs(&phone, &of_day(mixed)), [mixed]);
    assert_eq!(phone.farm.find_carton(&of_day(mixed)).unwrap(), mixed);
}
