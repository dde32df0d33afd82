//! Changes that no phone of the farm would write: kept by name, counted nowhere, and the same book
//! everywhere, whatever the order.

use pointdown_core::farm::{ErrorKind, Farm, Filter, Row};
use pointdown_core::record::{DocName, Id};
use pointdown_tests::phone::Phone;
use pointdown_tests::raw::{Foreign, changes, empty, id};
use serde_json::{Value, json};

const NOW: &str = "2026-05-01T12:00:00Z";
const MONTH: &str = "2026-05";

type Raw = (DocName, Vec<u8>);

fn phone() -> Phone {
    Phone::first("Ada", NOW, "America/Chicago")
}

fn coop(phone: &Phone) -> String {
    use pointdown_core::record::Kind;
    phone
        .farm
        .find(Kind::Coop, "Orchard")
        .expect("a coop")
        .to_string()
}

fn gather(phone: &Phone, count: Value) -> Value {
    json!({"kind": "gather", "coop": coop(phone), "species": "hen", "count": count})
}

fn row(farm: &Farm, id: Id) -> Row {
    farm.record(id).expect("a look").expect("a record")
}

/// Lets a copy of the farm take these changes in each of the orders; all must end alike, equal to
/// a rebuild, and clean.
fn all_alike(phone: &Phone, orders: &[Vec<&Raw>]) -> Farm {
    let base: Vec<Raw> = changes(&phone.farm)
        .into_iter()
        .map(|c| (c.doc, c.bytes))
        .collect();
    let mut seen: Option<Vec<String>> = None;
    let mut last = None;
    for order in orders {
        let farm = empty(phone.farm.id(), 5);
        farm.take(&base).expect("changes");
        for change in order {
            farm.take(&[(*change).clone()]).expect("a change");
        }
        let view = farm.view().expect("a view");
        farm.rebuild().expect("a rebuild");
        assert_eq!(
            view,
            farm.view().expect("a view"),
            "incremental against rebuilt"
        );
        assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
        if let Some(seen) = &seen {
            assert_eq!(seen, &view, "one order against another");
        }
        seen = Some(view);
        last = Some(farm);
    }
    last.expect("at least one order")
}

fn both_orders(phone: &Phone, a: &Raw, b: &Raw) -> Farm {
    all_alike(phone, &[vec![a, b], vec![b, a]])
}

#[test]
fn the_first_facts_stand_against_an_overwrite() {
    let phone = phone();
    let first = phone.gather("Orchard", "hen", 11);
    let mut foreign = Foreign::beside(&phone.farm, MONTH, 9);
    let change = foreign.put(&[(first.to_string(), gather(&phone, json!(500)))]);
    let taken = phone.farm.take(&[change]).expect("a change");
    assert_eq!(taken.changes, 1);
    assert_eq!(row(&phone.farm, first).fields["count"], 11);
    let strays = phone.farm.strays().expect("strays");
    assert_eq!(strays.len(), 1);
    assert_eq!(strays[0].key, first.to_string());
    assert!(strays[0].why.contains("written first"), "{}", strays[0].why);
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
}

#[test]
fn of_two_writes_under_one_id_the_same_one_stands_everywhere() {
    let phone = phone();
    let key = id(NOW, 1).to_string();
    let late = Foreign::apart(phone.farm.id(), MONTH, 8).put(&[
        (id(NOW, 77).to_string(), gather(&phone, json!(1))),
        (key.clone(), gather(&phone, json!(20))),
    ]);
    let early =
        Foreign::apart(phone.farm.id(), MONTH, 9).put(&[(key.clone(), gather(&phone, json!(30)))]);
    let farm = both_orders(&phone, &late, &early);
    assert_eq!(
        row(&farm, id(NOW, 1)).fields["count"],
        30,
        "the lower counter"
    );
    assert_eq!(farm.strays().expect("strays").len(), 1);
}

#[test]
fn a_change_that_writes_one_key_twice_is_the_same_in_any_order() {
    let phone = phone();
    let key = id(NOW, 1).to_string();
    let twice = Foreign::apart(phone.farm.id(), MONTH, 8).put(&[
        (id(NOW, 77).to_string(), gather(&phone, json!(1))),
        (key.clone(), gather(&phone, json!(20))),
        (key.clone(), gather(&phone, json!(21))),
    ]);
    let early =
        Foreign::apart(phone.farm.id(), MONTH, 9).put(&[(key.clone(), gather(&phone, json!(30)))]);
    let farm = both_orders(&phone, &twice, &early);
    assert_eq!(farm.strays().expect("strays").len(), 2);
}

#[test]
fn an_edit_that_comes_second_under_its_id_lets_go_of_its_record() {
    let phone = phone();
    let (one, two) = (
        phone.gather("Orchard", "hen", 11),
        phone.gather("Orchard", "hen", 12),
    );
    let key = id(NOW, 1).to_string();
    let void = |target: Id| json!({"kind": "void", "target": target.to_string(), "why": "x"});
    let late = Foreign::apart(phone.farm.id(), MONTH, 8).put(&[
        (id(NOW, 77).to_string(), gather(&phone, json!(1))),
        (key.clone(), void(one)),
    ]);
    let early = Foreign::apart(phone.farm.id(), MONTH, 9).put(&[(key, void(two))]);
    let farm = both_orders(&phone, &late, &early);
    assert_eq!(row(&farm, one).standing, "live");
    assert_eq!(row(&farm, two).standing, "voided");
}

#[test]
fn what_is_no_record_is_kept_by_name_and_counted_nowhere() {
    use automerge::transaction::Transactable;
    use automerge::{ObjType, ROOT, ScalarValue};
    let phone = phone();
    let first = phone.gather("Orchard", "hen", 11);
    let before = phone.view();
    let mut foreign = Foreign::beside(&phone.farm, MONTH, 9);
    let good = pointdown_core::record::encode(gather(&phone, json!(4)).as_object().expect("map"));
    let change = foreign.write(|tx| {
        let key = |n| id(NOW, n).to_string();
        tx.put(ROOT, key(1), 5).expect("a write");
        tx.put(ROOT, key(2), "gather").expect("a write");
        let map = tx.put_object(ROOT, key(3), ObjType::Map).expect("a map");
        tx.put(&map, "kind", "gather").expect("a write");
        let text = tx.put_object(ROOT, key(4), ObjType::Text).expect("a text");
        tx.splice_text(&text, 0, 0, "hello").expect("a text");
        tx.put(ROOT, key(5), ScalarValue::Bytes(vec![0xff, 1, 2]))
            .expect("a write");
        tx.put(ROOT, key(6), ScalarValue::Bytes(Vec::new()))
            .expect("a write");
        tx.put(ROOT, key(7), ScalarValue::counter(3))
            .expect("a write");
        tx.put(ROOT, "no id", ScalarValue::Bytes(good.clone()))
            .expect("a write");
        let other_month = id("2026-04-01T00:00:00Z", 8).to_string();
        tx.put(ROOT, other_month, ScalarValue::Bytes(good.clone()))
            .expect("a write");
        tx.put(ROOT, "_doc", "mine now").expect("a write");
        tx.delete(ROOT, first.to_string()).expect("a write");
    });
    phone.farm.take(&[change]).expect("a change");
    let strays = phone.farm.strays().expect("strays");
    assert_eq!(strays.len(), 11, "{strays:#?}");
    let mut after = phone.view();
    after.retain(|line| !line.starts_with("stray|"));
    assert_eq!(before, after);
    phone.farm.rebuild().expect("a rebuild");
    assert_eq!(phone.farm.strays().expect("strays"), strays);
    // The document still opens, takes more, and travels.
    phone.gather("Orchard", "hen", 2);
    let file = phone.farm.export().expect("an export");
    let other = empty(phone.farm.id(), 3);
    other.import(&file).expect("an import");
    assert_eq!(other.view().expect("a view"), phone.view());
}

#[test]
fn counts_beyond_what_is_allowed_are_shown_and_not_counted() {
    let phone = phone();
    phone.gather("Orchard", "hen", 11);
    let hen = |n: Value| json!({"2026-05-01/hen": n});
    let many: serde_json::Map<String, Value> = (1..=201u32)
        .map(|n| {
            let day = chrono::NaiveDate::from_yo_opt(2026, n).expect("a day");
            (format!("{day}/hen"), json!(1))
        })
        .collect();
    let wash = |parts: Value| json!({"kind": "wash", "parts": parts, "means": "dry"});
    let bad = [
        gather(&phone, json!(10_001)),
        gather(&phone, json!(u64::MAX)),
        gather(&phone, json!(-1)),
        gather(&phone, json!(2.5)),
        gather(&phone, json!("many")),
        gather(&phone, Value::Null),
        wash(hen(json!(10_001))),
        wash(hen(json!(0))),
        wash(json!({"someday/hen": 1})),
        wash(Value::Object(many)),
        json!({"kind": "gather"}),
        json!({"kind": 5}),
        json!({}),
    ];
    let mut foreign = Foreign::beside(&phone.farm, MONTH, 9);
    let records: Vec<(String, Value)> = bad
        .iter()
        .enumerate()
        .map(|(n, fields)| (id(NOW, n as u64).to_string(), fields.clone()))
        .collect();
    let change = foreign.put(&records);
    let before = phone.farm.on_hand().expect("on hand");
    let farm = all_alike(&phone, &[vec![&change]]);
    for (n, fields) in bad.iter().enumerate() {
        let row = row(&farm, id(NOW, n as u64));
        assert_eq!(row.standing, "refused", "{fields:?}");
        assert!(row.why.is_some());
        assert_eq!(&Value::Object(row.fields), fields, "kept as it came");
    }
    assert_eq!(farm.on_hand().expect("on hand"), before);
    let all = Filter {
        all: true,
        ..Filter::default()
    };
    assert!(farm.list(&all).expect("a list").len() >= bad.len());
}

#[test]
fn a_time_out_of_all_reason_is_not_counted() {
    let phone = phone();
    phone.gather("Orchard", "hen", 11);
    // The largest time that an id can carry, and the smallest.
    let far = Id::at((1 << 48) - 1, [1; 10]);
    let old = Id::at(0, [2; 10]);
    for (id, month) in [(far, "9999-08"), (old, "1970-01")] {
        let mut foreign = Foreign::apart(phone.farm.id(), month, 9);
        let change = foreign.put(&[(id.to_string(), gather(&phone, json!(3)))]);
        let farm = all_alike(&phone, &[vec![&change]]);
        let row = row(&farm, id);
        assert_eq!(row.standing, "refused", "{id:?}");
        assert!(row.why.expect("a reason").starts_with("at: "));
        let today = "2026-05-01".parse().expect("a day");
        assert_eq!(farm.sheet(today, today).expect("a sheet").on_hand.len(), 1);
    }
}

#[test]
fn circles_of_edits_end_alike_everywhere() {
    let phone = phone();
    let gathered = phone.gather("Orchard", "hen", 11);
    let key = |n| id(NOW, n).to_string();
    let amend = |target: &str, count: u32, over: &[String]| json!({"kind": "amend", "target": target, "set": {"count": count}, "over": over});
    let void = |target: String| json!({"kind": "void", "target": target, "why": "x"});
    let one = |n: u64, fields: Value| {
        Foreign::apart(phone.farm.id(), MONTH, 20 + n as u8).put(&[(key(n), fields)])
    };
    let a = one(1, amend(&gathered.to_string(), 20, &[key(2)]));
    let b = one(2, amend(&gathered.to_string(), 30, &[key(1)]));
    let farm = both_orders(&phone, &a, &b);
    let standing = row(&farm, gathered);
    assert_eq!(standing.standing, "live");
    assert_eq!(
        standing.conflicts.len(),
        1,
        "neither overruled the other: both are shown"
    );

    let (c, d) = (one(3, void(key(4))), one(4, void(key(3))));
    both_orders(&phone, &c, &d);
    let (e, f) = (one(5, void(key(5))), one(6, amend(&key(6), 1, &[key(6)])));
    both_orders(&phone, &e, &f);
    // A record voided by a void that is in a circle with another.
    let g = one(7, void(gathered.to_string()));
    let h = one(8, void(key(7)));
    let i = one(9, void(key(8)));
    let orders = [
        vec![&g, &h, &i],
        vec![&i, &h, &g],
        vec![&h, &g, &i],
        vec![&g, &i, &h],
        vec![&h, &i, &g],
        vec![&i, &g, &h],
    ];
    let farm = all_alike(&phone, &orders);
    assert_eq!(
        row(&farm, gathered).standing,
        "voided",
        "the void of the void is voided"
    );
}

#[test]
fn a_long_chain_of_voids_neither_overflows_nor_takes_for_ever() {
    let phone = phone();
    let gathered = phone.gather("Orchard", "hen", 11);
    for (length, stands) in [
        (2, "live"),
        (3, "voided"),
        (63, "voided"),
        (64, "live"),
        (600, "live"),
    ] {
        let mut target = gathered.to_string();
        let mut foreign = Foreign::apart(phone.farm.id(), MONTH, 9);
        let mut links = Vec::new();
        for n in 0..length {
            let key = id(NOW, n).to_string();
            let void = json!({"kind": "void", "target": target, "why": "x"});
            links.push((key.clone(), void));
            target = key;
        }
        // In two changes, so that the second one speaks of records up the first one's chain.
        let (head, tail) = links.split_at(links.len() / 2);
        let (one, two) = (foreign.put(head), foreign.put(tail));
        let began = std::time::Instant::now();
        let farm = all_alike(&phone, &[vec![&one, &two]]);
        assert_eq!(row(&farm, gathered).standing, stands, "{length} voids");
        assert!(
            began.elapsed().as_secs() < 30,
            "{length}: {:?}",
            began.elapsed()
        );
    }
}

#[test]
fn an_amendment_with_a_value_that_is_not_allowed_says_nothing_about_that_field() {
    let phone = phone();
    let gathered = phone.gather("Orchard", "hen", 11);
    let set = json!({"count": 10_001, "species": null, "note": "held", "device": "x", "size": 3,
                     "at": "1999-12-31T23:59:59Z", "floor_laid": "2"});
    let amend = json!({"kind": "amend", "target": gathered.to_string(), "set": set});
    let change = Foreign::apart(phone.farm.id(), MONTH, 9).put(&[(id(NOW, 1).to_string(), amend)]);
    let farm = all_alike(&phone, &[vec![&change]]);
    let row = row(&farm, gathered);
    assert_eq!(row.standing, "live");
    assert_eq!(row.fields["count"], 11);
    assert_eq!(row.fields["species"], "hen");
    assert_eq!(row.fields["note"], "held");
    assert!(!row.fields.contains_key("at") && !row.fields.contains_key("floor_laid"));
}

#[test]
fn two_changes_of_one_actor_under_one_number_are_refused() {
    let phone = phone();
    phone.gather("Orchard", "hen", 11);
    let one = Foreign::apart(phone.farm.id(), MONTH, 9)
        .put(&[(id(NOW, 1).to_string(), gather(&phone, json!(1)))]);
    let two = Foreign::apart(phone.farm.id(), MONTH, 9)
        .put(&[(id(NOW, 2).to_string(), gather(&phone, json!(2)))]);
    phone
        .farm
        .take(std::slice::from_ref(&one))
        .expect("the first");
    let before = phone.view();
    let error = phone
        .farm
        .take(std::slice::from_ref(&two))
        .expect_err("the second");
    assert_eq!(error.kind, ErrorKind::Damaged);
    assert!(
        error.message.contains("two copies of one database"),
        "{error}"
    );
    assert_eq!(before, phone.view());
    assert_eq!(phone.farm.take(&[one]).expect("again").changes, 0);
    // A number left out is refused as well.
    let mut third = Foreign::apart(phone.farm.id(), MONTH, 10);
    third.put(&[(id(NOW, 3).to_string(), gather(&phone, json!(3)))]);
    let skipped = third.put(&[(id(NOW, 4).to_string(), gather(&phone, json!(4)))]);
    phone
        .farm
        .take(&[skipped])
        .expect_err("what it builds on is missing");
    assert_eq!(before, phone.view());
}

#[test]
fn another_farms_changes_are_refused() {
    let (ours, theirs) = (phone(), phone());
    ours.gather("Orchard", "hen", 11);
    theirs.gather("Orchard", "hen", 12);
    let before = ours.view();
    for change in changes(&theirs.farm) {
        ours.farm
            .take(&[(change.doc, change.bytes)])
            .expect_err("another farm's");
    }
    let file = theirs.farm.export().expect("an export");
    assert_eq!(
        ours.farm.import(&file).expect_err("its file").kind,
        ErrorKind::OtherFarm
    );
    let said = theirs.farm.peer().say().expect("a word");
    let heard = ours.farm.peer().listen(&said).expect_err("its phone");
    assert_eq!(heard.kind, ErrorKind::OtherFarm);
    assert_eq!(before, ours.view());
}
