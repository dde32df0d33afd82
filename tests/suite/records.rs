//! Every kind of record: a sample of each logs, lists, is amended field by field, and is voided.

use pointdown_core::farm::{ErrorKind, Filter};
use pointdown_core::record::{
    Body, COMMON, Draft, FieldType, Fields, Id, Kind, Record, decode, encode, spec,
};
use pointdown_core::trade::rules::RulePack;
use pointdown_tests::phone::{Phone, at};
use serde_json::{Value, json};

pub(crate) const NOW: &str = "2026-05-02T12:00:00Z";

/// A farm with something of everything that records can name, and a run of two cartons.
pub(crate) fn farm() -> (Phone, Id) {
    let phone = Phone::first("Ada", NOW, "America/Chicago");
    for (kind, name) in [
        (Kind::Cooler, "Cellar"),
        (Kind::Outlet, "Stall"),
        (Kind::Cooler, "Larder"),
        (Kind::Outlet, "Gate"),
        (Kind::Person, "Ben"),
    ] {
        phone.log(Draft::new(kind).with("name", name));
    }
    let run = phone.log(draft(Kind::Carton, sample(Kind::Carton).expect("a sample")));
    (phone, run)
}

pub(crate) fn draft(kind: Kind, fields: Value) -> Draft {
    let mut draft = Draft::new(kind);
    draft.fields = fields.as_object().expect("fields").clone();
    draft
}

/// A rule pack of the farm's own.
pub(crate) fn own_rules() -> Value {
    json!(RulePack::custom(&RulePack::eu(), "Our rules"))
}

/// A record of this kind with every field of it; nothing for edits, which need a target.
pub(crate) fn sample(kind: Kind) -> Option<Value> {
    let hen = json!({"2026-05-01/hen": 7, "2026-05-02/hen": 5});
    Some(match kind {
        Kind::Gather => json!({"coop": "Orchard", "species": "hen", "count": 12, "floor_laid": 2,
                               "apart": true}),
        Kind::Cull => json!({"station": "basket", "parts": hen, "reason": "dung", "use": "home"}),
        Kind::Wash => json!({"parts": hen, "means": "spray", "cleaner": "Egg soap", "egg_c": 21.5,
                             "water_start_c": 41, "water_end_c": 38.25, "rinse_c": 43,
                             "sanitiser_ppm": 150, "minutes": 2.5, "sink_cleaned": true}),
        Kind::Candle => json!({"parts": hen, "found": {"aa": 9, "b": 2, "check": 1},
                               "air_cell_mm": 3.1}),
        Kind::Weigh => json!({"lot": "2026-05-01/hen", "grams": [58.25, 61, 63.5]}),
        Kind::Carton => json!({"parts": hen, "from": "clean", "species": "hen",
                               "eggs_per_carton": 6, "cartons": 2, "packed": "2026-05-02",
                               "best_by": "2026-05-30", "size": "large", "grade": "A",
                               "code": "122-1"}),
        Kind::Out => json!({"way": "sold", "parts": {"2026-05-01/hen": 6}, "station": "clean",
                            "outlet": "Stall", "to": "a neighbour", "price": "4.50"}),
        Kind::Recount => json!({"station": "clean", "counted": 5, "species": "hen", "expected": 7}),
        Kind::Hold => json!({"from": "2026-05-01", "cause": "medicine", "until": "2026-05-14",
                             "coop": "Orchard", "species": "hen", "given": "as on the label"}),
        Kind::Headcount => json!({"coop": "Pond", "species": "duck", "birds": 14}),
        Kind::Feed => json!({"kg": 25.125, "coop": "Pond", "species": "duck", "cost": "18.90"}),
        Kind::Reading => json!({"cooler": "Cellar", "air_c": 4.5}),
        Kind::Supply => json!({"item": "cartons", "count": 100, "cost": "31"}),
        Kind::Clock => json!({"offset_s": -340}),
        Kind::Decision => json!({"line": "name/coop/barn", "state": "-", "choice": "seen"}),
        Kind::Farm => json!({"name": "Larkmeadow", "zone": "America/Chicago", "temperature": "C",
                             "weight": "g", "currency": "USD", "rule_pack": "us_federal",
                             "rules": own_rules(), "house": {"accepted": ["pimples"], "keep_bloom": false,
                                       "best_by_days": 21, "ages_apart_max_days": 3},
                             "coops_apart": true, "producer": "Larkmeadow, Far Lane 1"}),
        Kind::Coop => json!({"name": "Barn", "species": ["hen", "duck"], "retired": "2026-12-31"}),
        Kind::Person => json!({"name": "Cleo", "retired": "2026-12-31"}),
        Kind::Device => json!({"name": "Cleo's phone", "retired": "2026-12-31"}),
        Kind::Cooler => json!({"name": "Shed", "retired": "2026-12-31"}),
        Kind::Outlet => {
            json!({"name": "Shop", "contact": "at the door", "standing_order": {"fri": 3},
            "order_eggs_per_carton": 6, "order_species": "duck", "retired": "2026-12-31"})
        }
        Kind::Amend | Kind::Void => return None,
    })
}

/// Another allowed value for a field, with what else must change for the sums to hold.
fn other(kind: Kind, field: &str, ty: FieldType) -> Value {
    match (kind, field) {
        (Kind::Cull | Kind::Wash, "parts") => json!({"parts": {"2026-05-02/hen": 3}}),
        (Kind::Candle, "parts") => json!({"parts": "2026-05-02/hen=3", "found": "b=3"}),
        (Kind::Candle, "found") => json!({"found": {"a": 12}}),
        (Kind::Carton, "parts" | "cartons" | "eggs_per_carton") => {
            json!({"parts": {"2026-05-02/hen": 30}, "cartons": 3, "eggs_per_carton": 10})
        }
        (Kind::Carton, "species") => {
            json!({"parts": {"2026-05-02/duck": 12}, "species": "duck"})
        }
        (Kind::Cull, "carton") => json!({"carton": "RUN"}),
        (Kind::Out, "carton" | "cartons") => json!({"carton": "RUN", "cartons": 1}),
        (Kind::Out, "parts") => json!({"parts": {"2026-05-02/hen": 3}}),
        (Kind::Recount, "lot") => json!({"lot": "2026-05-01/hen", "species": null}),
        (Kind::Carton, "from") => json!({"from": "basket"}),
        (_, "by") => json!({"by": "Ben"}),
        (Kind::Headcount | Kind::Feed, "coop") => json!({"coop": "Orchard"}),
        (_, "coop") => json!({"coop": "Pond"}),
        (_, "cooler") => json!({"cooler": "Larder"}),
        (_, "outlet") => json!({"outlet": "Gate"}),
        (Kind::Outlet, "standing_order") => json!({"standing_order": "mon=1,sat=2"}),
        (_, "until" | "best_by") => json!({field: "2026-06-09"}),
        _ => {
            let value = match ty {
                FieldType::Count(_, most) => json!(most.min(9)),
                FieldType::Number(_, most, ..) => json!(most.min(7.5)),
                FieldType::Temperature(..) => json!("50F"),
                FieldType::Text(_) => json!("other words"),
                FieldType::Choice(words) => json!(words[words.len() - 1]),
                FieldType::Flag => json!("no"),
                FieldType::Species => json!("quail"),
                FieldType::SpeciesList => json!("goose,turkey"),
                FieldType::CullReason => json!("called_back"),
                FieldType::Day => json!("2026-04-30"),
                FieldType::Lot => json!("2026-05-02/hen"),
                FieldType::Weights => json!([50, 51.5]),
                FieldType::Money => json!("0.05"),
                FieldType::Zone => json!("Europe/Dublin"),
                FieldType::HousePolicy => json!({"keep_bloom": true}),
                FieldType::RulePack => {
                    json!(RulePack::custom(&RulePack::us_federal(), "Other rules"))
                }
                FieldType::Ref(_)
                | FieldType::AnyRecord
                | FieldType::Seen
                | FieldType::Instant
                | FieldType::Parts
                | FieldType::Tally(_)
                | FieldType::Values => panic!("{kind:?} {field} has no other value here"),
            };
            json!({field: value})
        }
    }
}

fn clean(phone: &Phone) {
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
    let view = phone.view();
    phone.farm.rebuild().expect("a rebuild");
    assert_eq!(view, phone.view());
}

#[test]
fn every_kind_logs_lists_is_amended_in_each_field_and_voided() {
    let (phone, run) = farm();
    let mut kinds = 0;
    for kind in Kind::ALL.iter().copied().filter(|k| !k.is_edit()) {
        let fields = sample(kind).unwrap_or_else(|| panic!("{kind:?} has no sample"));
        // Every field of the table is in the sample, but for those that exclude one another.
        for field in spec(kind) {
            let left_out = [
                (Kind::Cull, "carton"),
                (Kind::Out, "carton"),
                (Kind::Out, "cartons"),
                (Kind::Recount, "lot"),
            ];
            assert!(
                fields.get(field.name).is_some() || left_out.contains(&(kind, field.name)),
                "the sample of {kind:?} lacks {}",
                field.name
            );
        }
        let id = phone.log(draft(kind, fields).with("note", "a note"));
        let listed = phone
            .farm
            .list(&Filter {
                kind: Some(kind),
                ..Filter::default()
            })
            .expect("a list");
        let row = listed
            .iter()
            .find(|row| row.id == id)
            .expect("it is listed");
        assert_eq!(row.problem, None);
        for field in spec(kind).iter().chain(COMMON) {
            if field.name == "device" {
                continue;
            }
            let mut set = other(kind, field.name, field.ty);
            if set.get("carton").is_some() {
                set["carton"] = run.to_string().into();
            }
            let set = set.as_object().expect("values").clone();
            let before = phone.farm.record(id).expect("a look").expect("it");
            let amended = phone.farm.amend(id, set, Some("a better value"));
            let amended = amended.unwrap_or_else(|e| panic!("{kind:?} {}: {e}", field.name));
            let now = phone.farm.record(id).expect("a look").expect("it");
            if kind != Kind::Farm || field.name != "by" {
                assert_ne!(before.fields, now.fields, "{kind:?} {}", field.name);
            }
            assert_eq!(now.standing, "live");
            phone.farm.void(amended.id, "back again").expect("a void");
            let back = phone.farm.record(id).expect("a look").expect("it");
            assert_eq!(back.fields, before.fields, "{kind:?} {}", field.name);
        }
        if kind == Kind::Farm {
            let kept = phone.farm.void(id, "by mistake").expect_err("kept");
            assert_eq!(kept.invalid.expect("a field").field, "target");
            kinds += 1;
            continue;
        }
        phone.farm.void(id, "by mistake").expect("a void");
        let gone = phone
            .farm
            .record(id)
            .expect("a look")
            .expect("it is still there");
        assert_eq!(
            (gone.standing, gone.why.as_deref()),
            ("voided", Some("by mistake"))
        );
        phone
            .farm
            .void(id, "again")
            .expect_err("it is voided already");
        kinds += 1;
    }
    assert_eq!(kinds, Kind::ALL.len() - 2);
    clean(&phone);
}

#[test]
fn an_optional_field_can_be_taken_away_and_a_required_one_cannot() {
    let (phone, _) = farm();
    for kind in Kind::ALL
        .iter()
        .copied()
        .filter(|k| !k.is_edit() && *k != Kind::Farm)
    {
        let fields = sample(kind).expect("a sample");
        let id = phone.log(draft(kind, fields.clone()));
        for field in spec(kind) {
            if fields.get(field.name).is_none() {
                continue;
            }
            let set: Fields = [(field.name.to_string(), Value::Null)]
                .into_iter()
                .collect();
            let before = phone.view();
            let tried = phone.farm.amend(id, set, None);
            if field.required || (kind, field.name) == (Kind::Recount, "species") {
                let error = tried.expect_err(field.name);
                assert_eq!(error.kind, ErrorKind::Invalid, "{kind:?} {}", field.name);
                assert_eq!(before, phone.view());
            } else {
                tried.unwrap_or_else(|e| panic!("{kind:?} {}: {e}", field.name));
                let row = phone.farm.record(id).expect("a look").expect("it");
                assert!(
                    !row.fields.contains_key(field.name),
                    "{kind:?} {}",
                    field.name
                );
            }
        }
    }
    clean(&phone);
}

#[test]
fn the_typed_record_and_the_field_table_agree() {
    let (phone, run) = farm();
    for kind in Kind::ALL.iter().copied() {
        let id = match kind {
            Kind::Amend => {
                let set: Fields = [("note".to_string(), json!("x"))].into_iter().collect();
                phone
                    .farm
                    .amend(run, set, Some("y"))
                    .expect("an amendment")
                    .id
            }
            Kind::Void => phone.farm.void(run, "z").expect("a void").id,
            _ => phone.log(draft(kind, sample(kind).expect("a sample"))),
        };
        let fields = phone.farm.record(id).expect("a look").expect("it").fields;
        // Through the bytes that travel, and back.
        assert_eq!(decode(&encode(&fields)).expect("it reads"), fields);
        let record = Record::read(id, &fields).expect("it reads");
        assert_eq!(record.body.kind(), kind);
        assert_eq!(record.unknown, Fields::new());
        let typed = body_as_json(&record.body);
        let typed = typed.as_object().expect("fields");
        // Every field of the table has its place in the type, with the same value.
        for field in spec(kind) {
            let stored = fields.get(field.name).cloned().unwrap_or(Value::Null);
            let read = typed.get(field.name).cloned().unwrap_or(Value::Null);
            let unset =
                stored.is_null() && (read == json!(0) || read == json!(false) || read == json!([]));
            assert!(
                same(&stored, &read) || unset,
                "{kind:?} {}: stored {stored}, typed {read}",
                field.name
            );
        }
        // And the type has no field that the table does not know.
        for name in typed.keys() {
            assert!(
                spec(kind).iter().any(|f| f.name == name),
                "{kind:?} has {name}"
            );
        }
    }
}

/// Equal, where 41 and 41.0 are one number.
fn same(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        _ => one == other,
    }
}

fn body_as_json(body: &Body) -> Value {
    let value = match body {
        Body::Gather(b) => serde_json::to_value(b),
        Body::Cull(b) => serde_json::to_value(b),
        Body::Wash(b) => serde_json::to_value(b),
        Body::Candle(b) => serde_json::to_value(b),
        Body::Weigh(b) => serde_json::to_value(b),
        Body::Carton(b) => serde_json::to_value(b),
        Body::Out(b) => serde_json::to_value(b),
        Body::Recount(b) => serde_json::to_value(b),
        Body::Hold(b) => serde_json::to_value(b),
        Body::Headcount(b) => serde_json::to_value(b),
        Body::Feed(b) => serde_json::to_value(b),
        Body::Reading(b) => serde_json::to_value(b),
        Body::Supply(b) => serde_json::to_value(b),
        Body::Amend(b) => serde_json::to_value(b),
        Body::Void(b) => serde_json::to_value(b),
        Body::Clock(b) => serde_json::to_value(b),
        Body::Decision(b) => serde_json::to_value(b),
        Body::Farm(b) => serde_json::to_value(b),
        Body::Coop(b) => serde_json::to_value(b),
        Body::Person(b) | Body::Device(b) | Body::Cooler(b) => serde_json::to_value(b),
        Body::Outlet(b) => serde_json::to_value(b),
    };
    value.expect("JSON")
}

#[test]
fn an_edit_is_not_amended_and_an_unknown_target_is_refused() {
    let (phone, run) = farm();
    let set: Fields = [("note".to_string(), json!("x"))].into_iter().collect();
    let amend = phone
        .farm
        .amend(run, set.clone(), None)
        .expect("an amendment")
        .id;
    let before = phone.view();
    let error = phone
        .farm
        .amend(amend, set.clone(), None)
        .expect_err("an amendment amended");
    assert!(error.message.contains("can be voided"), "{error}");
    let nobody = Id::at(at(NOW).ms(), [3; 10]);
    assert_eq!(
        phone
            .farm
            .amend(nobody, set, None)
            .expect_err("nothing")
            .kind,
        ErrorKind::NotFound
    );
    assert_eq!(
        phone.farm.void(nobody, "x").expect_err("nothing").kind,
        ErrorKind::NotFound
    );
    assert_eq!(
        phone.farm.void(run, " ").expect_err("no reason").kind,
        ErrorKind::Invalid
    );
    assert_eq!(before, phone.view());
}
