//! Rules of the trade that a record breaks, each with its source, and words that no rule goes by.

use pointdown_core::book::review::{Choice, Finding, Weight, What};
use pointdown_core::record::{Draft, Fields, Id, Kind};
use pointdown_core::trade::rules::RulePack;
use pointdown_tests::phone::{Phone, at, gather};
use pointdown_tests::review::{alike, amend, behind, decide, line, lines, list, undo, who};
use serde_json::{Value, json};

fn farm(set: Value) -> Phone {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    amend(&ada, ada.farm.id(), set);
    ada.gather("Orchard", "hen", 60);
    ada
}

fn wash(fields: Value) -> Draft {
    let mut draft = Draft::new(Kind::Wash)
        .with("parts", "2026-05-01/hen=6")
        .with("means", "spray");
    for (name, value) in fields.as_object().expect("fields") {
        draft = draft.with(name, value.clone());
    }
    draft
}

/// The one rule that a record breaks, with its reason.
#[track_caller]
fn broken(phone: &Phone, id: Id) -> (Finding, String, String) {
    let mut all = list(phone);
    all.retain(|f| f.line.ends_with(&format!("/{id}")));
    assert_eq!(all.len(), 1, "{all:?}");
    let finding = all.remove(0);
    let What::Breach { rule, why } = finding.what.clone() else {
        panic!("{finding:?}");
    };
    assert_eq!(finding.line, format!("rule/{rule}/{id}"));
    assert!(finding.choices.contains(&Choice::Seen));
    assert!(finding.choices.contains(&Choice::Void { record: id }));
    (finding, rule, why)
}

/// 7 CFR 56.76(f), 69 FR 76376 of 21 December 2004: wash water of 90 °F or warmer, and at least
/// 20 °F warmer than the egg inside; a rinse warmer than the wash water; no soaking.
#[test]
fn washing_is_held_against_the_rules_that_the_farm_chose() {
    let ada = farm(json!({"rule_pack": "us_federal"}));
    for (fields, rule, source) in [
        (
            json!({"egg_c": "60F", "water_start_c": "85F"}),
            "washed_too_cold",
            "7 CFR 56.76",
        ),
        // A guideline of food technology, no law: about 40 °F above the egg, or shells crack.
        (
            json!({"egg_c": "50F", "water_start_c": "140F"}),
            "washed_too_hot",
            "",
        ),
        (
            json!({"egg_c": "60F", "water_start_c": "100F", "rinse_c": "95F"}),
            "rinsed_too_cold",
            "7 CFR 56.76",
        ),
    ] {
        let id = ada.log(wash(fields.clone()));
        let (finding, found, why) = broken(&ada, id);
        assert_eq!(found, rule, "{fields}");
        assert!(why.contains(source), "{why}");
        assert_eq!(who(&ada, &finding), ["Ada"]);
        assert_eq!(finding.weight, Weight::Soon);
        behind(&finding, &[id]);
        // Mended, the line is gone.
        amend(
            &ada,
            id,
            json!({"egg_c": "60F", "water_start_c": "92F", "rinse_c": "96F"}),
        );
        assert!(
            !lines(&ada)
                .iter()
                .any(|line| line.contains(&id.to_string()))
        );
    }
    let soaked = Draft::new(Kind::Wash)
        .with("parts", "2026-05-01/hen=6")
        .with("means", "brush")
        .with("minutes", 3);
    let (_, rule, _) = broken(&ada, ada.log(soaked));
    assert_eq!(rule, "soaked");
    // What was not measured breaks nothing, nor does what is as it should be.
    let before = lines(&ada);
    ada.log(wash(json!({})));
    ada.log(wash(
        json!({"egg_c": "60F", "water_start_c": "100F", "rinse_c": "104F"}),
    ));
    assert_eq!(lines(&ada), before);
    // Without a pack nobody is reminded.
    amend(&ada, ada.farm.id(), json!({"rule_pack": null}));
    assert_eq!(lines(&ada), Vec::<String>::new());
}

fn carton(packed: &str, parts: &str) -> Draft {
    Draft::new(Kind::Carton)
        .with("parts", parts)
        .with("from", "basket")
        .with("species", "hen")
        .with("eggs_per_carton", 6)
        .with("cartons", 1)
        .with("packed", packed)
}

#[test]
fn cartons_are_held_against_ages_and_dates() {
    let ada = farm(json!({"rule_pack": "us_federal", "house": {"ages_apart_max_days": 3}}));
    ada.env.set(at("2026-05-02T15:00:00Z"));
    ada.gather("Orchard", "hen", 30);
    ada.env.set(at("2026-05-06T15:00:00Z"));
    ada.gather("Orchard", "hen", 30);
    // Mixed ages: the house allows three days, these are five apart. It is more than the 36 hours
    // of 21 CFR 118.4(e) too, unless they were in a cooler before.
    let mixed = ada.log(carton("2026-05-06", "2026-05-01/hen=3,2026-05-06/hen=3"));
    let of = |id: Id| -> Vec<String> {
        let mut all = lines(&ada);
        all.retain(|line| line.ends_with(&id.to_string()));
        all.sort();
        all
    };
    assert_eq!(
        of(mixed),
        [
            format!("rule/chilled_late/{mixed}"),
            format!("rule/mixed_ages/{mixed}")
        ]
    );
    let late = line(&ada, "rule/chilled_late/");
    assert!(matches!(&late.what, What::Breach { why, .. } if why.contains("21 CFR 118.4(e)")));
    // In time: packed within 36 hours of the end of the lay day.
    let fresh = ada.log(carton("2026-05-06", "2026-05-06/hen=6"));
    assert_eq!(of(fresh), Vec::<String>::new());
    // 45 days with the day of packing as the first: 19 June is the last, by counting on a calendar.
    let long = ada.log(carton("2026-05-06", "2026-05-06/hen=6").with("best_by", "2026-06-20"));
    assert_eq!(of(long), [format!("rule/best_by_too_late/{long}")]);
    amend(&ada, long, json!({"best_by": "2026-06-19"}));
    assert_eq!(of(long), Vec::<String>::new());
    // 7 CFR 56.1: packed within 21 days after laying; 1 May and 21 days is 22 May.
    ada.env.set(at("2026-05-23T15:00:00Z"));
    let old = ada.log(carton("2026-05-23", "2026-05-01/hen=6"));
    assert!(of(old).contains(&format!("rule/packed_too_late/{old}")));
    amend(&ada, old, json!({"packed": "2026-05-22"}));
    assert!(!of(old).contains(&format!("rule/packed_too_late/{old}")));
}

#[test]
fn cartons_sold_past_their_dates_name_who_packed_and_who_sold() {
    let ada = farm(json!({"rule_pack": "us_federal"}));
    let ben = ada.another("Ben");
    let run = ada.log(carton("2026-05-01", "2026-05-01/hen=6").with("best_by", "2026-06-14"));
    alike(&[&ada, &ben]);
    let sale = |day: &str| {
        Draft::new(Kind::Out)
            .at(at(&format!("{day}T15:00:00Z")))
            .with("way", "sold")
            .with("parts", "2026-05-01/hen=6")
            .with("carton", run.to_string())
            .with("cartons", 1)
    };
    ben.env.set(at("2026-06-15T20:00:00Z"));
    let sold = ben.log(sale("2026-06-15"));
    alike(&[&ada, &ben]);
    let finding = line(&ada, "rule/past_best_by/");
    behind(&finding, &[sold, run]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"]);
    // Cartons with the shield: sold within 30 days, the day of packing counted as the first.
    assert_eq!(
        lines(&ada)
            .iter()
            .filter(|l| l.starts_with("rule/past_sell_by/"))
            .count(),
        1
    );
    amend(&ben, sold, json!({"at": "2026-06-14T15:00:00Z"}));
    assert!(
        !lines(&ben)
            .iter()
            .any(|l| l.starts_with("rule/past_best_by/"))
    );
    amend(&ben, sold, json!({"at": "2026-05-30T15:00:00Z"}));
    assert_eq!(lines(&ben), Vec::<String>::new());
    let logged = amend(&ben, sold, json!({"at": "2026-05-31T15:00:00Z"}));
    assert_eq!(lines(&ben), [format!("rule/past_sell_by/{sold}")]);
    decide(&ben, "rule/", |c| *c == Choice::Seen);
    assert_eq!(lines(&ben), Vec::<String>::new());
    let _ = (logged, gather("Pond", "hen", 1));
}

/// 21 CFR 118.4(e): 45 °F, that is 7.2 °C, or colder.
#[test]
fn a_cooler_that_is_too_warm() {
    let ada = farm(json!({"rule_pack": "us_federal"}));
    ada.log(Draft::new(Kind::Cooler).with("name", "Cellar"));
    let reading = |air: &str| {
        let draft = Draft::new(Kind::Reading).with("cooler", "Cellar");
        ada.log(draft.with("air_c", air))
    };
    reading("45F");
    assert_eq!(lines(&ada), Vec::<String>::new());
    let warm = reading("46F");
    let (finding, rule, why) = broken(&ada, warm);
    assert_eq!(rule, "cooler_too_warm");
    assert!(why.contains("118.4(e)"), "{why}");
    let logged = decide(&ada, &finding.line, |c| *c == Choice::Seen);
    assert_eq!(lines(&ada), Vec::<String>::new());
    undo(&ada, &logged);
    assert_eq!(line(&ada, "rule/"), finding);
}

fn set(value: Value) -> Fields {
    value.as_object().expect("fields").clone()
}

#[test]
fn a_misspelt_rule_is_refused_by_name() {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let farm = ada.farm.id();
    let before = ada.view();
    let refused = |value: Value| {
        let error = ada.farm.amend(farm, set(value), None).expect_err("a slip");
        error.invalid.expect("a field")
    };
    let slip = refused(json!({"house": {"best_by_dayz": 14}}));
    assert_eq!(slip.field, "house: best_by_dayz");
    assert_eq!(slip.value, "\"best_by_dayz\"");
    assert_eq!(
        slip.allowed,
        "allowed are accepted, ages_apart_max_days, best_by_days, keep_bloom"
    );
    let mut own =
        serde_json::to_value(RulePack::custom(&RulePack::eu(), "Our county")).expect("JSON");
    own["chill"]["cooler_mim"] = own["chill"]["cooler_min"].clone();
    let slip = refused(json!({"rules": own, "rule_pack": "custom"}));
    assert_eq!(slip.field, "rules: chill.cooler_mim");
    assert!(slip.allowed.contains("cooler_min"), "{}", slip.allowed);
    own["chill"]
        .as_object_mut()
        .expect("an object")
        .remove("cooler_mim");
    own["tolerances"][0]["cheks"] = 0.5.into();
    let slip = refused(json!({"rules": own, "rule_pack": "custom"}));
    assert_eq!(slip.field, "rules: tolerances[0].cheks");
    assert!(slip.allowed.starts_with("allowed are "), "{}", slip.allowed);
    assert!(
        slip.allowed.len() > "allowed are ".len(),
        "its neighbours are named"
    );
    assert_eq!(before, ada.view());
    amend(&ada, farm, json!({"house": {"best_by_days": 14}}));
}

/// A word of a later version that arrives by sync is kept and read past, not refused.
#[test]
fn a_stored_word_of_a_later_version_does_no_harm() {
    use pointdown_tests::raw::{Foreign, id};
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let farm = ada.farm.id();
    let mut newer = Foreign::beside(&ada.farm, "farm", 9);
    let policy = json!({"best_by_days": 14, "sung_to": true});
    let change = newer.put(&[(
        id("2026-05-01T12:30:00Z", 1).to_string(),
        json!({"kind": "amend", "target": farm.to_string(), "set": {"house": policy}}),
    )]);
    ada.farm.take(&[change]).expect("it is taken");
    let row = ada.farm.record(farm).expect("a look").expect("the farm");
    assert_eq!((row.standing, &row.fields["house"]), ("live", &policy));
}
