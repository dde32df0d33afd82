//! The words that records may hold are those of the trade, so that nothing the trade knows cannot
//! be written down and nothing written down is unknown to it.

use std::collections::BTreeSet;

use pointdown_core::record::{Body, FieldType, Id, Kind, Record, decode, encode, spec};
use pointdown_core::trade::quality::Quality;
use pointdown_core::trade::rules::{HousePolicy, RulePack, in_force};
use pointdown_core::trade::{Defect, Disposal, Means};
use serde_json::{Value, json};

fn field(kind: Kind, name: &str) -> FieldType {
    let found = spec(kind).iter().find(|field| field.name == name);
    found.unwrap_or_else(|| panic!("{kind:?} has no {name}")).ty
}

fn words(kind: Kind, name: &str) -> BTreeSet<&'static str> {
    match field(kind, name) {
        FieldType::Choice(words) | FieldType::Tally(words) => words.iter().copied().collect(),
        other => panic!("{name} is {other:?}"),
    }
}

#[test]
fn means_and_uses_are_those_of_the_trade() {
    let means: BTreeSet<&str> = Means::ALL.map(Means::code).into();
    assert_eq!(words(Kind::Wash, "means"), means);
    assert!(means.contains("basin"));
    let uses: BTreeSet<&str> = Disposal::ALL.map(Disposal::code).into();
    assert_eq!(words(Kind::Cull, "use"), uses);
    for defect in Defect::ALL {
        for used in defect.facts().uses {
            assert!(uses.contains(used.code()));
        }
        let reason = json!(defect.code());
        assert_eq!(
            field(Kind::Cull, "reason").read("reason", &reason),
            Ok(reason)
        );
    }
}

#[test]
fn a_candling_can_say_every_quality_of_every_pack_and_no_other() {
    let mut known = BTreeSet::new();
    for pack in [RulePack::us_federal(), RulePack::eu()] {
        for grade in pack.quality.unwrap().grades.value {
            known.insert(grade.code);
        }
    }
    for quality in [
        Quality::Dirty,
        Quality::Check,
        Quality::Leaker,
        Quality::Loss,
        Quality::Inedible,
    ] {
        known.insert(quality.word().unwrap().to_owned());
    }
    let words: BTreeSet<String> = words(Kind::Candle, "found")
        .into_iter()
        .map(str::to_owned)
        .collect();
    assert_eq!(words, known);
    assert!(words.contains("extra"));
}

#[test]
fn every_rule_pack_that_can_be_chosen_is_there() {
    let own = RulePack::custom(&RulePack::us_federal(), "Our county");
    for code in words(Kind::Farm, "rule_pack") {
        assert_eq!(in_force(code, Some(&own)).unwrap().code, code);
    }
}

#[test]
fn a_farm_keeps_rules_of_its_own_only_if_they_can_be() {
    let rules = field(Kind::Farm, "rules");
    let own = RulePack::custom(&RulePack::us_federal(), "Our county");
    let value = serde_json::to_value(&own).unwrap();
    let stored = rules.read("rules", &value).unwrap();
    assert_eq!(
        rules.read("rules", &json!(value.to_string())),
        Ok(stored.clone())
    );
    assert_eq!(serde_json::from_value::<RulePack>(stored).unwrap(), own);

    let with = |path: &str, new: Value| {
        let mut value = value.clone();
        *value.pointer_mut(path).unwrap() = new;
        rules.read("rules", &value).unwrap_err()
    };
    let hot = with("/cleaning/water_min/value", json!(90.0));
    assert_eq!(
        (hot.field.as_str(), hot.value.as_str(), hot.allowed.as_str()),
        (
            "rules: cleaning.water_min",
            "90 °C",
            "allowed is 0 to 60 °C"
        )
    );
    let posing = with("/code", json!("us_federal"));
    assert_eq!(
        posing.to_string(),
        "rules: code: us_federal is not allowed; allowed is custom"
    );
    let odd = with("/cleaning/wet/value", json!("perhaps"));
    assert_eq!(odd.field, "rules");
    assert!(
        odd.allowed.contains("perhaps") && odd.allowed.contains("forbidden"),
        "{odd}"
    );
    for wrong in [
        json!({}),
        json!([]),
        json!(7),
        json!("{"),
        json!("us_federal"),
    ] {
        let refused = rules.read("rules", &wrong).unwrap_err();
        assert!(refused.allowed.contains("whole rule pack"), "{refused}");
    }
    let long = with("/name", json!("x".repeat(70_000)));
    assert!(
        long.allowed.contains("65536 bytes") && long.value.len() < 100,
        "{long}"
    );
}

/// A pack is nested deeper than anything else in a record.
#[test]
fn rules_of_ones_own_come_back_from_their_stored_form() {
    let own = RulePack::custom(&RulePack::eu(), "Our county");
    let house = HousePolicy {
        keep_bloom: true,
        ..HousePolicy::default()
    };
    let fields = json!({
        "kind": "farm", "name": "Larkmeadow", "zone": "Europe/Dublin", "rule_pack": "custom",
        "rules": own, "house": house,
    });
    let bytes = encode(fields.as_object().unwrap());
    assert!(bytes.len() < 16_000, "{}", bytes.len());
    let id = Id::at(1_780_000_000_000, [7; 10]);
    let record = Record::read(id, &decode(&bytes).unwrap()).unwrap();
    let Body::Farm(farm) = record.body else {
        panic!("{:?}", record.body)
    };
    assert_eq!(farm.house, Some(house));
    let code = farm.rule_pack.as_deref().unwrap();
    assert_eq!(in_force(code, farm.rules.as_deref()), Ok(own));
    assert!(record.unknown.is_empty());
}

#[test]
fn a_farm_keeps_a_house_policy_only_if_it_can_be() {
    let house = field(Kind::Farm, "house");
    let policy = HousePolicy {
        accepted: vec![Defect::Pimples],
        keep_bloom: true,
        best_by_days: Some(21),
        ages_apart_max_days: Some(2),
    };
    let value = serde_json::to_value(&policy).unwrap();
    let stored = house.read("house", &value).unwrap();
    assert_eq!(
        serde_json::from_value::<HousePolicy>(stored).unwrap(),
        policy
    );
    assert!(house.read("house", &json!({"keep_bloom": false})).is_ok());
    let cracks = house
        .read("house", &json!({"accepted": ["hairline_crack"]}))
        .unwrap_err();
    assert_eq!(
        (cracks.field.as_str(), cracks.value.as_str()),
        ("house: house policy: accepted", "hairline_crack")
    );
    assert!(house.read("house", &json!({"best_by_days": 0})).is_err());
    assert!(
        house
            .read("house", &json!({"ages_apart_max_days": 400}))
            .is_err()
    );
    assert!(house.read("house", &json!(true)).is_err());
}
