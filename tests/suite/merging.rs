//! Phones that log and edit apart and then meet: what each said stays visible, and all agree.

use pointdown_core::farm::Row;
use pointdown_core::record::{Draft, Fields, Id, Kind};
use pointdown_tests::phone::{Phone, at, gather, meet};
use serde_json::{Value, json};

fn two() -> (Phone, Phone, Id) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let id = ada.gather("Orchard", "hen", 11);
    let ben = ada.another("Ben");
    meet(&ada, &ben);
    (ada, ben, id)
}

fn amend(phone: &Phone, id: Id, set: Value) -> Id {
    phone.env.pass_ms(1000);
    let set: Fields = set.as_object().expect("values").clone();
    phone.farm.amend(id, set, None).expect("an amendment").id
}

fn row(phone: &Phone, id: Id) -> Row {
    phone.farm.record(id).expect("a look").expect("a record")
}

fn alike(phones: &[&Phone]) {
    for _ in 0..2 {
        for one in phones {
            for other in phones {
                if one.farm.device() != other.farm.device() {
                    meet(one, other);
                }
            }
        }
    }
    for phone in phones {
        assert_eq!(phone.view(), phones[0].view());
        assert_eq!(
            phone.farm.check().expect("a check").wrong,
            Vec::<String>::new()
        );
    }
    let view = phones[0].view();
    phones[0].farm.rebuild().expect("a rebuild");
    assert_eq!(view, phones[0].view());
}

#[test]
fn two_phones_log_apart_and_then_hold_the_same() {
    let ada = Phone::first("Ada", "2026-05-01T06:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    ada.gather("Orchard", "hen", 11);
    ben.gather("Pond", "duck", 4);
    ben.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-05-01/duck=4")
            .with("means", "spray"),
    );
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
    let today = ada.farm.today().expect("a day");
    let sheet = ada.farm.sheet(today, today).expect("a sheet");
    assert_eq!(sheet.gathered.eggs, 15);
    assert_eq!(sheet.on_hand.len(), 2);
    assert_eq!(
        ada.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
}

#[test]
fn one_field_amended_apart_is_shown_with_both_values_until_someone_decides() {
    let (ada, ben, id) = two();
    let hers = amend(&ada, id, json!({"count": 12}));
    ben.env.pass_ms(5000);
    let his = amend(&ben, id, json!({"count": 13}));
    alike(&[&ada, &ben]);
    for phone in [&ada, &ben] {
        let row = row(phone, id);
        assert_eq!(row.fields["count"], 13, "the later one counts meanwhile");
        assert_eq!(row.conflicts.len(), 1);
        assert_eq!(row.conflicts[0].field, "count");
        assert_eq!(row.conflicts[0].said, [(hers, json!(12)), (his, json!(13))]);
    }
    // Either phone decides, having seen both; even for the earlier value.
    amend(&ada, id, json!({"count": 12}));
    alike(&[&ada, &ben]);
    for phone in [&ada, &ben] {
        assert_eq!(row(phone, id).conflicts, []);
        assert_eq!(row(phone, id).fields["count"], 12);
    }
}

#[test]
fn an_amendment_made_with_a_clock_set_back_still_overrules_what_it_saw() {
    let (ada, ben, id) = two();
    amend(&ada, id, json!({"count": 12}));
    meet(&ada, &ben);
    ben.env.set(at("2026-04-11T12:00:00Z"));
    let his = amend(&ben, id, json!({"count": 13}));
    assert!(row(&ben, his).at < row(&ada, id).at, "its id sorts first");
    alike(&[&ada, &ben]);
    assert_eq!(
        (
            &row(&ada, id).fields["count"],
            row(&ada, id).conflicts.len()
        ),
        (&json!(13), 0)
    );
}

#[test]
fn a_hundred_amendments_one_after_the_other_are_no_conflict() {
    let (ada, ben, id) = two();
    let all: Vec<Id> = (0..100)
        .map(|n| amend(&ada, id, json!({"count": n})))
        .collect();
    alike(&[&ada, &ben]);
    assert_eq!(
        (
            &row(&ben, id).fields["count"],
            row(&ben, id).conflicts.len()
        ),
        (&json!(99), 0)
    );
    // Taken back one by one, the one before stands each time.
    for n in (90..100).rev() {
        ada.farm.void(all[n], "no").expect("a void");
        assert_eq!(row(&ada, id).fields["count"], n - 1);
        assert_eq!(row(&ada, id).conflicts, []);
    }
    alike(&[&ada, &ben]);
}

#[test]
fn threads_share_one_phone() {
    let (ada, ben, _) = two();
    std::thread::scope(|scope| {
        for n in 0..4u32 {
            let farm = &ada.farm;
            scope.spawn(move || {
                for k in 0..25 {
                    farm.log(gather("Orchard", "hen", n * 25 + k))
                        .expect("a gather");
                    farm.on_hand().expect("on hand");
                }
            });
        }
        let (file, farm) = (ben.farm.export().expect("an export"), &ada.farm);
        scope.spawn(move || (0..10).for_each(|_| drop(farm.import(&file).expect("an import"))));
    });
    let today = ada.farm.today().expect("a day");
    let gathered = ada.farm.sheet(today, today).expect("a sheet").gathered;
    assert_eq!(gathered.eggs, 11 + (0..100).sum::<i64>());
    alike(&[&ada, &ben]);
}

#[test]
fn the_same_value_said_twice_is_no_conflict() {
    let (ada, ben, id) = two();
    amend(&ada, id, json!({"count": 12}));
    amend(&ben, id, json!({"count": "12"}));
    alike(&[&ada, &ben]);
    assert_eq!(row(&ada, id).conflicts, []);
    assert_eq!(row(&ada, id).fields["count"], 12);
}

#[test]
fn different_fields_amended_apart_both_hold() {
    let (ada, ben, id) = two();
    amend(&ada, id, json!({"count": 12}));
    amend(&ben, id, json!({"note": "a warm day", "coop": "Pond"}));
    alike(&[&ada, &ben]);
    let row = row(&ben, id);
    assert_eq!(
        (&row.fields["count"], &row.fields["note"]),
        (&json!(12), &json!("a warm day"))
    );
    assert_eq!(row.conflicts, []);
    let today = ada.farm.today().expect("a day");
    let sheet = ada.farm.sheet(today, today).expect("a sheet");
    let pond = sheet
        .gathered
        .by_coop
        .iter()
        .find(|c| c.name == "Pond" && c.eggs.is_some());
    assert_eq!(pond.expect("the pond").eggs, Some(12));
}

#[test]
fn values_that_hold_alone_and_not_together_are_named() {
    let (ada, ben, id) = two();
    amend(&ada, id, json!({"count": 3}));
    amend(&ben, id, json!({"floor_laid": 9}));
    alike(&[&ada, &ben]);
    for phone in [&ada, &ben] {
        let row = row(phone, id);
        assert_eq!(row.standing, "live", "nothing is hidden");
        assert!(row.problem.expect("a problem").starts_with("floor_laid: 9"));
    }
    amend(&ben, id, json!({"floor_laid": 2}));
    alike(&[&ada, &ben]);
    assert_eq!(row(&ada, id).problem, None);
}

#[test]
fn three_say_three_things_apart() {
    let (ada, ben, id) = two();
    let cleo = ada.another("Cleo");
    meet(&cleo, &ada);
    meet(&ben, &ada);
    for (phone, count) in [(&ada, 12), (&ben, 13), (&cleo, 14)] {
        amend(
            phone,
            id,
            json!({"count": count, "note": format!("{count} I say")}),
        );
    }
    // Ada and Ben meet and Ada decides between the two; Cleo is still away.
    alike(&[&ada, &ben]);
    assert_eq!(
        row(&ada, id).conflicts.len(),
        2,
        "count and note, field by field"
    );
    amend(&ada, id, json!({"count": 15}));
    assert_eq!(row(&ada, id).conflicts.len(), 1, "the note is still open");
    alike(&[&ada, &ben, &cleo]);
    let seen = row(&cleo, id);
    let count = seen
        .conflicts
        .iter()
        .find(|c| c.field == "count")
        .expect("open again");
    let mut said: Vec<&Value> = count.said.iter().map(|(_, v)| v).collect();
    said.sort_by_key(|v| v.as_i64());
    assert_eq!(
        said,
        [&json!(14), &json!(15)],
        "what Ada overruled stays overruled"
    );
    let note = seen
        .conflicts
        .iter()
        .find(|c| c.field == "note")
        .expect("open");
    assert_eq!(note.said.len(), 3);
    amend(&cleo, id, json!({"count": 16, "note": null}));
    alike(&[&ada, &ben, &cleo]);
    for phone in [&ada, &ben, &cleo] {
        assert_eq!(row(phone, id).conflicts, []);
        assert_eq!(row(phone, id).fields["count"], 16);
        assert!(!row(phone, id).fields.contains_key("note"));
    }
}

#[test]
fn an_amendment_and_a_void_apart_leave_it_voided_with_both_on_record() {
    let (ada, ben, id) = two();
    let hers = amend(&ada, id, json!({"count": 12}));
    let his = ben.farm.void(id, "logged twice").expect("a void").id;
    alike(&[&ada, &ben]);
    let voided = row(&ada, id);
    assert_eq!(
        (voided.standing, voided.why.as_deref()),
        ("voided", Some("logged twice"))
    );
    assert_eq!(voided.fields["count"], 12, "the amendment is kept");
    assert!(ada.farm.on_hand().expect("on hand").is_empty());
    // Undone, the amended value stands.
    ada.farm
        .void(his, "it was not")
        .expect("a void of the void");
    alike(&[&ada, &ben]);
    assert_eq!(
        (row(&ben, id).standing, &row(&ben, id).fields["count"]),
        ("live", &json!(12))
    );
    // And without the amendment the first fact.
    ben.farm.void(hers, "eleven after all").expect("a void");
    alike(&[&ada, &ben]);
    assert_eq!(row(&ada, id).fields["count"], 11);
}

#[test]
fn voids_of_one_record_apart_and_one_of_them_taken_back() {
    let (ada, ben, id) = two();
    let hers = ada.farm.void(id, "mine").expect("a void").id;
    ben.farm.void(id, "his").expect("a void");
    alike(&[&ada, &ben]);
    ada.farm.void(hers, "no").expect("a void");
    alike(&[&ada, &ben]);
    let row = row(&ada, id);
    assert_eq!((row.standing, row.why.as_deref()), ("voided", Some("his")));
}

#[test]
fn an_amendment_that_moves_a_gather_to_another_day_moves_its_lot() {
    let (ada, ben, id) = two();
    amend(&ada, id, json!({"at": "2026-04-30T12:00:00Z"}));
    ben.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-05-01/hen=11")
            .with("means", "dry"),
    );
    alike(&[&ada, &ben]);
    let day = |text: &str| text.parse().expect("a day");
    let gathered = |text| {
        ada.farm
            .sheet(day(text), day(text))
            .expect("a sheet")
            .gathered
            .eggs
    };
    assert_eq!((gathered("2026-04-30"), gathered("2026-05-01")), (11, 0));
    let basket: Vec<(String, i64)> = ada.farm.on_hand().expect("on hand")[0]
        .lots
        .iter()
        .map(|(lot, n)| (lot.to_string(), *n))
        .collect();
    assert_eq!(
        basket,
        [
            ("2026-04-30/hen".into(), 11),
            ("2026-05-01/hen".into(), -11)
        ]
    );
}

#[test]
fn a_phone_offline_for_three_weeks_over_the_end_of_a_month() {
    let (ada, ben, _) = two();
    for day in 0..21i64 {
        for phone in [&ada, &ben] {
            phone
                .env
                .set(at("2026-05-20T13:00:00Z").plus_ms(day * 86_400_000));
            phone.gather("Orchard", "hen", 10 + day as u32);
            phone.gather("Pond", "duck", day as u32 % 4);
        }
        if day % 5 == 0 {
            let today = ben.farm.today().expect("a day");
            ben.log(
                Draft::new(Kind::Recount)
                    .with("station", "basket")
                    .with("lot", format!("{today}/hen"))
                    .with("counted", 9),
            );
        }
    }
    // A record of last month, amended in this one, on the phone that nobody heard of.
    let early = ben.log(gather("Orchard", "hen", 1).at(at("2026-05-21T13:00:00Z")));
    amend(
        &ben,
        early,
        json!({"count": 2, "at": "2026-06-02T13:00:00Z"}),
    );
    assert_ne!(ada.view(), ben.view());
    let turns = meet(&ada, &ben);
    assert!(turns < 10, "{turns} turns");
    assert_eq!(ada.view(), ben.view());
    let (from, to) = (
        "2026-05-20".parse().expect("a day"),
        "2026-06-09".parse().expect("a day"),
    );
    let sheet = ada.farm.sheet(from, to).expect("a sheet");
    let by_hand: i64 = (0..21).map(|d| 2 * (10 + d) + 2 * (d % 4)).sum::<i64>() + 2;
    assert_eq!(sheet.gathered.eggs, by_hand);
    alike(&[&ada, &ben]);
    let docs: Vec<_> = pointdown_tests::raw::documents(&ada.farm.export().expect("an export"))
        .into_iter()
        .map(|(doc, _)| doc.to_string())
        .collect();
    assert_eq!(
        docs,
        ["farm", "2026-06", "2026-05"],
        "the newest month first"
    );
}
