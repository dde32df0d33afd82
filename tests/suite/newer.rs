//! What a newer version of the program wrote: kept, shown as unknown, never dropped.

use pointdown_core::farm::{Farm, Filter, Row};
use pointdown_core::ledger::Document;
use pointdown_core::record::{Actor, DocName, Fields, Id, encode};
use pointdown_tests::phone::{Phone, meet};
use pointdown_tests::raw::{empty, id};
use serde_json::{Value, json};

const NOW: &str = "2026-05-01T12:00:00Z";

fn fields(value: Value) -> Fields {
    value.as_object().expect("fields").clone()
}

/// Lets a newer program write a record through the ledger alone.
fn written(phone: &Phone, doc: &str, id: Id, value: Value, actor: u8) {
    let doc: DocName = doc.parse().expect("a name");
    let mut document = Document::new(phone.farm.id(), doc.clone(), Actor([actor; 16]));
    let (change, _) = document
        .append(&[(id, encode(&fields(value)))], 1_777_636_800)
        .expect("a change");
    phone
        .farm
        .take(&[(doc, change.bytes)])
        .expect("it is taken");
}

fn row(farm: &Farm, id: Id) -> Row {
    farm.record(id).expect("a look").expect("it is here")
}

/// The same after a rebuild, on a phone that took a file, and on one that was met.
fn everywhere(phone: &Phone, look: impl Fn(&Farm)) {
    look(&phone.farm);
    let view = phone.view();
    phone.farm.rebuild().expect("a rebuild");
    assert_eq!(view, phone.view());
    let taken = empty(phone.farm.id(), 4);
    taken
        .import(&phone.farm.export().expect("an export"))
        .expect("an import");
    assert_eq!(view, taken.view().expect("a view"));
    look(&taken);
    let met = phone.another("Ben");
    meet(&met, phone);
    look(&met.farm);
    assert_eq!(met.view(), phone.view());
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
}

fn phone() -> Phone {
    let phone = Phone::first("Ada", NOW, "America/Chicago");
    phone.gather("Orchard", "hen", 11);
    phone
}

#[test]
fn unknown_fields_are_kept_shown_and_survive_an_amendment() {
    let phone = phone();
    let coop = phone
        .farm
        .find(pointdown_core::record::Kind::Coop, "Orchard")
        .expect("a coop")
        .to_string();
    let gathered = id(NOW, 1);
    let shade = json!({"deep": [1, {"warm": true, "none": null}], "big": u64::MAX, "less": -5});
    written(
        &phone,
        "2026-05",
        gathered,
        json!({"kind": "gather", "coop": coop, "species": "hen", "count": 6, "shade": shade,
               "weather": "drizzle"}),
        9,
    );
    let look = |farm: &Farm| {
        let row = row(farm, gathered);
        assert_eq!(row.standing, "live");
        assert_eq!(row.unknown, ["shade", "weather"]);
        assert_eq!(row.fields["shade"], shade);
        assert_eq!(row.fields["weather"], "drizzle");
    };
    everywhere(&phone, look);
    let sheet = |farm: &Farm| {
        let day = "2026-05-01".parse().expect("a day");
        farm.sheet(day, day).expect("a sheet").gathered.eggs
    };
    assert_eq!(sheet(&phone.farm), 17, "what is known of it counts");
    phone
        .farm
        .amend(gathered, fields(json!({"count": 7, "note": "shady"})), None)
        .expect("an amendment");
    everywhere(&phone, |farm| {
        look(farm);
        assert_eq!(row(farm, gathered).fields["count"], 7);
        assert_eq!(sheet(farm), 18);
    });
    phone.farm.void(gathered, "by mistake").expect("a void");
    everywhere(&phone, |farm| {
        let row = row(farm, gathered);
        assert_eq!((row.standing, row.unknown.len()), ("voided", 2));
        assert_eq!(row.fields["weather"], "drizzle");
        assert_eq!(sheet(farm), 11);
    });
}

#[test]
fn a_record_of_an_unknown_kind_is_kept_and_shown_and_counted_nowhere() {
    let phone = phone();
    let (moult, odd) = (id(NOW, 2), id(NOW, 3));
    let value = json!({"kind": "moult", "coop": "Orchard", "birds": 4});
    written(&phone, "2026-05", moult, value.clone(), 9);
    written(
        &phone,
        "farm",
        odd,
        json!({"kind": "gate", "name": "North"}),
        9,
    );
    everywhere(&phone, |farm| {
        let row = row(farm, moult);
        assert_eq!((row.kind.as_str(), row.standing), ("moult", "refused"));
        assert!(row.why.expect("a reason").starts_with("kind: moult"));
        assert_eq!(Value::Object(row.fields), value);
        let all = Filter {
            all: true,
            ..Filter::default()
        };
        let listed = farm.list(&all).expect("a list");
        assert!(listed.iter().any(|r| r.id == moult) && listed.iter().any(|r| r.id == odd));
        let live = farm.list(&Filter::default()).expect("a list");
        assert!(live.iter().all(|r| r.id != moult));
        assert!(farm.strays().expect("strays").is_empty());
    });
    // It can be voided by an older version, and not amended by one.
    phone
        .farm
        .amend(moult, fields(json!({"birds": 5})), None)
        .expect_err("an unknown kind");
    phone.farm.void(moult, "no").expect("a void");
    everywhere(&phone, |farm| {
        assert_eq!(row(farm, moult).standing, "voided")
    });
}

#[test]
fn a_newer_amendment_of_a_field_that_is_not_known_yet_is_kept() {
    let phone = phone();
    let all = phone.farm.list(&Filter::default()).expect("a list");
    let gathered = all
        .iter()
        .find(|r| r.kind == "gather")
        .expect("a gather")
        .id;
    let amend = id(NOW, 4);
    let value = json!({"kind": "amend", "target": gathered.to_string(),
                       "set": {"count": 12, "shade": "deep"}, "mood": "calm"});
    written(&phone, "2026-05", amend, value.clone(), 9);
    everywhere(&phone, |farm| {
        assert_eq!(
            row(farm, gathered).fields["count"],
            12,
            "what is known of it holds"
        );
        let row = row(farm, amend);
        assert_eq!(row.unknown, ["mood"]);
        assert_eq!(Value::Object(row.fields), value);
    });
}

#[test]
fn a_known_kind_with_a_choice_that_is_not_known_yet_is_shown_as_it_is() {
    let phone = phone();
    let wash = id(NOW, 5);
    let value = json!({"kind": "wash", "parts": {"2026-05-01/hen": 4}, "means": "steam"});
    written(&phone, "2026-05", wash, value.clone(), 9);
    everywhere(&phone, |farm| {
        let row = row(farm, wash);
        assert_eq!((row.kind.as_str(), row.standing), ("wash", "refused"));
        assert!(row.why.expect("a reason").contains("steam"));
        assert_eq!(Value::Object(row.fields), value);
    });
    // An amendment to a value that this version knows lets it count.
    phone
        .farm
        .amend(wash, fields(json!({"means": "spray"})), None)
        .expect("an amendment");
    everywhere(&phone, |farm| assert_eq!(row(farm, wash).standing, "live"));
}
