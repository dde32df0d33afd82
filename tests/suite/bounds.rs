//! The edges of what each field may hold: on the edge it stands, one step beyond it is refused with
//! an error that names field, value and what is allowed, and nothing is changed.

use pointdown_core::record::{Draft, FieldType, Kind, spec};
use pointdown_tests::phone::{Phone, at, gather};
use serde_json::{Value, json};

use crate::records::{NOW, draft, farm, sample};

/// What must not stand, and how the error begins.
fn refused(phone: &Phone, draft: Draft, field: &str, value: &str) {
    let what = format!("{draft:?}");
    let error = phone.refused(draft);
    let invalid = error
        .invalid
        .unwrap_or_else(|| panic!("{what}: {}", error.message));
    assert_eq!(invalid.field, field, "{what}: {}", error.message);
    assert!(invalid.value.contains(value), "{what}: {}", error.message);
    assert!(invalid.allowed.len() > 10, "{what}: {}", error.message);
    for part in [&invalid.field, &invalid.value, &invalid.allowed] {
        assert!(error.message.contains(part.as_str()), "{}", error.message);
    }
}

/// Values on the edge, and values just beyond it.
fn edges(ty: FieldType) -> (Vec<Value>, Vec<Value>) {
    match ty {
        FieldType::Count(lo, hi) => (
            vec![
                json!(lo),
                json!(hi),
                json!(hi.to_string()),
                json!(lo as f64),
            ],
            vec![
                json!(-1),
                json!(hi + 1),
                json!(lo as f64 + 0.5),
                json!("x"),
                json!(true),
                json!(u64::MAX),
                json!([]),
            ],
        ),
        FieldType::Number(lo, hi, ..) | FieldType::Temperature(lo, hi) => (
            vec![json!(lo), json!(hi), json!(hi.to_string())],
            vec![
                json!(lo - 0.01),
                json!(hi + 0.01),
                json!("warm"),
                json!("NaN"),
                json!("inf"),
                json!(1e300),
            ],
        ),
        FieldType::RulePack => (
            vec![crate::records::own_rules()],
            vec![json!({}), json!("us_federal")],
        ),
        FieldType::HousePolicy => (
            vec![
                json!({}),
                json!({"accepted": ["pimples"], "best_by_days": 1}),
            ],
            // What does not hold within a policy is tried with the words of the trade.
            vec![json!([]), json!("none"), json!(3)],
        ),
        FieldType::Text(most) => (
            vec![json!("x"), json!("ß".repeat(most)), json!("two\nlines")],
            vec![
                json!(""),
                json!("   "),
                json!("x".repeat(most + 1)),
                json!("a\u{7}b"),
                json!(5),
            ],
        ),
        FieldType::Choice(words) => (
            words.iter().map(|w| json!(w)).collect(),
            vec![
                json!("other words"),
                json!(""),
                json!(1),
                json!(words[0].to_uppercase() + "x"),
            ],
        ),
        FieldType::Flag => (
            vec![json!(true), json!("no")],
            vec![json!("maybe"), json!(1), json!("")],
        ),
        FieldType::Species => (
            vec![json!("quail")],
            vec![json!("ostrich"), json!(""), json!(1)],
        ),
        FieldType::SpeciesList => (
            vec![json!("hen"), json!(["hen", "goose"])],
            vec![json!([]), json!("hen,ostrich"), json!("")],
        ),
        FieldType::CullReason => (vec![json!("leaker")], vec![json!("ugly"), json!("")]),
        FieldType::Day => (
            vec![
                json!("2000-01-01"),
                json!("2200-12-31"),
                json!("2028-02-29"),
            ],
            vec![
                json!("1999-12-31"),
                json!("2201-01-01"),
                json!("2026-02-29"),
                json!("today"),
            ],
        ),
        FieldType::Lot => (
            vec![json!("2026-05-01/hen")],
            vec![
                json!("2026-05-01"),
                json!("2026-05-01/ostrich"),
                json!("1999-12-31/hen"),
                json!("2026-05-01/hen/nowhere"),
            ],
        ),
        FieldType::Weights => (
            vec![json!([1, 500]), json!("58.5,60")],
            vec![
                json!([0.99]),
                json!([500.01]),
                json!([]),
                json!(vec![50; 5001]),
            ],
        ),
        FieldType::Money => (
            vec![json!("0"), json!("999999.999"), json!(4.5)],
            vec![
                json!("-1"),
                json!("1000000"),
                json!("1.2345"),
                json!("4,50"),
                json!(".5"),
            ],
        ),
        FieldType::Zone => (
            vec![json!("Europe/Dublin")],
            vec![json!("Europe/Nowhere"), json!(""), json!("+02:00")],
        ),
        FieldType::Ref(kind) => {
            let nobody = pointdown_core::record::Id::at(at(NOW).ms(), [9; 10]).to_string();
            let _ = kind;
            (vec![], vec![json!(nobody), json!("Nobody"), json!(7)])
        }
        FieldType::Parts => (
            vec![],
            vec![
                json!({}),
                json!("2026-05-01/hen=0"),
                json!("2026-05-01/hen=10001"),
                json!({"2026-05-01/ostrich": 1}),
                json!("2026-05-01/hen"),
                json!("2026-05-01/hen=1,2026-05-01/hen=2"),
            ],
        ),
        FieldType::Tally(_) => (
            vec![],
            vec![json!({}), json!({"odd": 1}), json!("aa=10001")],
        ),
        FieldType::AnyRecord | FieldType::Seen | FieldType::Instant | FieldType::Values => {
            (vec![], vec![])
        }
    }
}

#[test]
fn each_field_holds_its_edges_and_refuses_what_lies_beyond() {
    let (phone, _) = farm();
    let mut tried = 0;
    for kind in Kind::ALL.iter().copied().filter(|k| !k.is_edit()) {
        for field in spec(kind) {
            let (inside, beyond) = edges(field.ty);
            // Fields that hang together have tests of their own below.
            let alone = !matches!(
                (kind, field.name),
                (
                    Kind::Carton,
                    "eggs_per_carton" | "cartons" | "species" | "best_by" | "packed"
                ) | (Kind::Out, "cartons")
                    | (Kind::Recount, "lot")
                    | (Kind::Hold, "until" | "from")
                    | (Kind::Gather, "floor_laid")
            );
            // A coop holds only the birds that it is said to.
            let flock = matches!(kind, Kind::Gather | Kind::Headcount) && field.name == "species";
            for value in inside.into_iter().filter(|_| alone && !flock) {
                let mut fields = sample(kind).expect("a sample");
                if (kind, field.name) == (Kind::Gather, "count") {
                    fields["floor_laid"] = json!(0);
                }
                fields[field.name] = value.clone();
                // A second farm record, or a second coop of a name, is nothing to log here.
                let checked = phone.farm.log(draft(kind, fields));
                checked.unwrap_or_else(|e| panic!("{kind:?} {} {value}: {e}", field.name));
                tried += 1;
            }
            for value in beyond {
                let mut fields = sample(kind).expect("a sample");
                fields[field.name] = value.clone();
                let shown = match &value {
                    Value::String(s) => s.chars().take(20).collect::<String>(),
                    other => other.to_string().chars().take(3).collect(),
                };
                let shown = if shown.contains(['\u{7}', '\n']) {
                    String::new()
                } else {
                    shown
                };
                refused(&phone, draft(kind, fields), field.name, &shown);
                tried += 1;
            }
            if field.required {
                let mut fields = sample(kind).expect("a sample");
                fields.as_object_mut().expect("fields").remove(field.name);
                refused(&phone, draft(kind, fields), field.name, "nothing");
            }
        }
        let mut fields = sample(kind).expect("a sample");
        fields["colour"] = json!("brown");
        refused(&phone, draft(kind, fields), "colour", "");
    }
    assert!(tried > 250, "{tried}");
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
}

#[test]
fn a_time_lies_between_2000_and_a_day_ahead() {
    let (phone, _) = farm();
    let day = 86_400_000;
    for good in [at("2000-01-01T00:00:00Z"), at(NOW), at(NOW).plus_ms(day)] {
        let id = phone.log(gather("Orchard", "hen", 1).at(good));
        assert_eq!(phone.farm.record(id).expect("a look").expect("it").at, good);
    }
    for (bad, shown) in [
        (at("1999-12-31T23:59:59.999Z"), "1999-12-31"),
        (at(NOW).plus_ms(day + 1), "2026-05-03"),
        (at("1969-07-20T20:17:00Z"), "1969-07-20"),
        (at("9999-12-31T23:59:59Z"), "9999-12-31"),
    ] {
        refused(&phone, gather("Orchard", "hen", 1).at(bad), "at", shown);
    }
    let id = phone.gather("Orchard", "hen", 4);
    for (value, stands) in [
        (json!("2000-01-01T00:00:00Z"), true),
        (json!("1999-12-31T23:59:59Z"), false),
        (json!(at(NOW).plus_ms(day).to_string()), true),
        (json!(at(NOW).plus_ms(day + 1).to_string()), false),
        (json!("noon"), false),
        (json!(null), false),
    ] {
        let set = [("at".to_string(), value.clone())].into_iter().collect();
        let tried = phone.farm.amend(id, set, None);
        assert_eq!(tried.is_ok(), stands, "{value}");
        if let Err(e) = tried {
            assert_eq!(e.invalid.expect("a field").field, "at");
        }
    }
}

#[test]
fn what_hangs_together_is_held_against_each_other() {
    let (phone, run) = farm();
    let with = |kind: Kind, changes: Value| {
        let mut fields = sample(kind).expect("a sample");
        for (name, value) in changes.as_object().expect("fields") {
            fields[name] = value.clone();
        }
        draft(kind, fields)
    };
    let bad = [
        (Kind::Gather, json!({"floor_laid": 13}), "floor_laid", "13"),
        (
            Kind::Gather,
            json!({"count": 0, "floor_laid": 1}),
            "floor_laid",
            "1",
        ),
        (Kind::Carton, json!({"cartons": 3}), "parts", "12 eggs"),
        (
            Kind::Carton,
            json!({"eggs_per_carton": 12}),
            "parts",
            "12 eggs",
        ),
        (
            Kind::Carton,
            json!({"parts": "2026-05-01/hen=6,2026-05-01/duck=6"}),
            "parts",
            "hen and duck",
        ),
        (Kind::Carton, json!({"species": "duck"}), "parts", "hen"),
        (
            Kind::Carton,
            json!({"best_by": "2026-05-01"}),
            "best_by",
            "2026-05-01",
        ),
        (
            Kind::Carton,
            json!({"eggs_per_carton": 0}),
            "eggs_per_carton",
            "0",
        ),
        (
            Kind::Carton,
            json!({"eggs_per_carton": 61}),
            "eggs_per_carton",
            "61",
        ),
        (Kind::Carton, json!({"cartons": 0}), "cartons", "0"),
        (Kind::Carton, json!({"cartons": 10_001}), "cartons", "10001"),
        (
            Kind::Candle,
            json!({"parts": "2026-05-01/hen=6,2026-05-01/duck=6"}),
            "parts",
            "hen and duck",
        ),
        (
            Kind::Candle,
            json!({"found": {"aa": 11}}),
            "found",
            "11 eggs",
        ),
        (
            Kind::Out,
            json!({"parts": "2026-05-01/hen=6,2026-05-01/duck=6"}),
            "parts",
            "hen and duck",
        ),
        (
            Kind::Out,
            json!({"carton": run.to_string()}),
            "cartons",
            "nothing",
        ),
        (Kind::Out, json!({"cartons": 1}), "carton", "nothing"),
        (
            Kind::Recount,
            json!({"lot": "2026-05-01/hen"}),
            "lot",
            "a lot and a species",
        ),
        (
            Kind::Hold,
            json!({"until": "2026-04-30"}),
            "until",
            "2026-04-30",
        ),
    ];
    for (kind, changes, field, value) in bad {
        refused(&phone, with(kind, changes), field, value);
    }
    let mut neither = sample(Kind::Recount).expect("a sample");
    neither.as_object_mut().expect("fields").remove("species");
    refused(&phone, draft(Kind::Recount, neither), "lot", "nothing");
    let good = [
        (Kind::Gather, json!({"floor_laid": 12})),
        (Kind::Gather, json!({"count": 0, "floor_laid": 0})),
        (Kind::Carton, json!({"best_by": "2026-05-02"})),
        (
            Kind::Carton,
            json!({"parts": "2026-05-01/duck=12", "species": "duck"}),
        ),
        (Kind::Out, json!({"carton": run.to_string(), "cartons": 1})),
        (Kind::Hold, json!({"until": "2026-05-01"})),
    ];
    for (kind, changes) in good {
        phone.log(with(kind, changes));
    }
    // The same holds for what an amendment would leave.
    let before = phone.view();
    for set in [
        json!({"cartons": 3}),
        json!({"species": "duck"}),
        json!({"best_by": "2026-05-01"}),
    ] {
        let set = set.as_object().expect("values").clone();
        phone
            .farm
            .amend(run, set, None)
            .expect_err("it would not hold together");
    }
    assert_eq!(before, phone.view());
}

#[test]
fn an_unknown_kind_or_name_is_refused() {
    let (phone, _) = farm();
    let mut odd = gather("Orchard", "hen", 1);
    odd.kind = "moult".into();
    refused(&phone, odd, "kind", "moult");
    refused(&phone, gather("Nowhere", "hen", 1), "coop", "Nowhere");
    refused(
        &phone,
        gather("Orchard", "ostrich", 1),
        "species",
        "ostrich",
    );
    // A person is no coop.
    let ben = phone.farm.find(Kind::Person, "Ben").expect("a person");
    refused(
        &phone,
        gather(&ben.to_string(), "hen", 1),
        "coop",
        &ben.to_string(),
    );
    // A coop that was voided is none any more.
    let pond = phone.farm.find(Kind::Coop, "Pond").expect("a coop");
    phone.farm.void(pond, "never built").expect("a void");
    refused(
        &phone,
        gather(&pond.to_string(), "hen", 1),
        "coop",
        &pond.to_string(),
    );
    refused(&phone, gather("Pond", "hen", 1), "coop", "Pond");
}
