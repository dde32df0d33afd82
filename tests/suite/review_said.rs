//! What people said of one record apart from each other, and the choices that settle it.

use pointdown_core::book::review::{Choice, Weight, What};
use pointdown_core::farm::{Answer, ErrorKind};
use pointdown_core::record::{Draft, Id, Kind};
use pointdown_tests::phone::{Phone, at, meet};
use pointdown_tests::review::{alike, amend, behind, decide, line, lines, list, undo, void, who};
use serde_json::json;

fn three() -> (Phone, Phone, Phone, Id) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let id = ada.gather("Orchard", "hen", 11);
    let (ben, cleo) = (ada.another("Ben"), ada.another("Cleo"));
    alike(&[&ada, &ben, &cleo]);
    (ada, ben, cleo, id)
}

fn count(phone: &Phone, id: Id) -> serde_json::Value {
    let row = phone.farm.record(id).expect("a look").expect("a record");
    row.fields["count"].clone()
}

fn keeps(value: i64) -> impl Fn(&Choice) -> bool {
    move |choice| matches!(choice, Choice::Keep { value: v, .. } if *v == json!(value))
}

#[test]
fn three_values_are_one_line_that_names_everyone() {
    let (ada, ben, cleo, id) = three();
    assert_eq!(lines(&ada), Vec::<String>::new());
    let said = [
        amend(&ada, id, json!({"count": 12})),
        amend(&ben, id, json!({"count": 13})),
        amend(&cleo, id, json!({"count": 14})),
    ];
    alike(&[&ada, &ben, &cleo]);
    let finding = line(&ada, "field/");
    assert_eq!(finding.line, format!("field/{id}/count"));
    assert_eq!(who(&ada, &finding), ["Ada", "Ben", "Cleo"]);
    behind(&finding, &[id, said[0], said[1], said[2]]);
    assert_eq!(finding.weight, Weight::Soon);
    assert_eq!(finding.choices.len(), 3);
    let logged = decide(&ben, "field/", keeps(12));
    alike(&[&ada, &ben, &cleo]);
    assert_eq!((lines(&cleo), count(&cleo, id)), (vec![], json!(12)));
    // Undone, the question is the same again.
    undo(&ben, &logged);
    alike(&[&ada, &ben, &cleo]);
    assert_eq!(line(&cleo, "field/"), finding);
}

#[test]
fn one_line_decided_in_two_ways_is_a_question_again() {
    let (ada, ben, cleo, id) = three();
    amend(&ada, id, json!({"count": 12}));
    amend(&ben, id, json!({"count": 13}));
    alike(&[&ada, &ben, &cleo]);
    let before = line(&ada, "field/");
    decide(&ada, "field/", keeps(12));
    decide(&cleo, "field/", keeps(13));
    alike(&[&ada, &ben, &cleo]);
    let after = line(&ben, "field/");
    assert_eq!(who(&ben, &after), ["Ada", "Cleo"], "those who decided");
    assert_ne!(after.tag(), before.tag());
    assert_eq!(after.tag()[..4], before.tag()[..4], "the same line");
    decide(&ben, "field/", keeps(13));
    alike(&[&ada, &ben, &cleo]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    assert_eq!(count(&ada, id), 13);
}

#[test]
fn the_same_decided_twice_is_one_answer() {
    let (ada, ben, cleo, id) = three();
    amend(&ada, id, json!({"count": 12}));
    amend(&ben, id, json!({"count": 13}));
    alike(&[&ada, &ben, &cleo]);
    decide(&ada, "field/", keeps(12));
    let his = decide(&cleo, "field/", keeps(12));
    alike(&[&ada, &ben, &cleo]);
    assert_eq!(lines(&ben), Vec::<String>::new());
    // One of two like answers taken back leaves the other.
    undo(&cleo, &his);
    alike(&[&ada, &ben, &cleo]);
    assert_eq!((lines(&ben), count(&ben, id)), (vec![], json!(12)));
}

#[test]
fn mended_on_one_phone_and_voided_on_another() {
    let (ada, ben, cleo, id) = three();
    let mended = amend(&ada, id, json!({"count": 12}));
    let voided = [void(&ben, id), void(&cleo, id)];
    alike(&[&ada, &ben, &cleo]);
    let finding = line(&ada, "void/");
    assert!(matches!(finding.what, What::AmendedAndVoided));
    behind(&finding, &[id, mended, voided[0], voided[1]]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben", "Cleo"]);
    let restore = |choice: &Choice| matches!(choice, Choice::Restore { .. });
    assert_eq!(finding.choices.iter().filter(|c| restore(c)).count(), 1);
    // One choice takes both voids back, in one step.
    let logged = decide(&ada, "void/", restore);
    assert_eq!(logged.len(), 2);
    alike(&[&ada, &ben, &cleo]);
    assert_eq!(lines(&ben), Vec::<String>::new());
    let row = ben.farm.record(id).expect("a look").expect("a record");
    assert_eq!((row.standing, &row.fields["count"]), ("live", &json!(12)));
    undo(&ada, &logged);
    alike(&[&ada, &ben, &cleo]);
    assert_eq!(line(&ben, "void/"), finding);
    decide(&ben, "void/", |choice| *choice == Choice::Seen);
    alike(&[&ada, &ben, &cleo]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn a_void_by_someone_who_had_seen_the_amendment_is_no_question() {
    let (ada, ben, _, id) = three();
    amend(&ada, id, json!({"count": 12}));
    alike(&[&ada, &ben]);
    void(&ben, id);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn what_does_not_add_up_offers_each_amendment_back() {
    let (ada, ben, _, id) = three();
    let fewer = amend(&ada, id, json!({"count": 3}));
    let more = amend(&ben, id, json!({"floor_laid": 9}));
    alike(&[&ada, &ben]);
    let finding = line(&ben, "sum/");
    assert!(
        matches!(&finding.what, What::DoesNotAddUp { problem } if problem.starts_with("floor_laid: 9"))
    );
    behind(&finding, &[id, fewer, more]);
    let logged = decide(&ben, "sum/", |c| *c == Choice::Void { record: more });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    undo(&ben, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ada, "sum/"), finding);
}

#[test]
fn a_line_that_changed_since_it_was_shown_is_not_decided() {
    let (ada, ben, cleo, id) = three();
    amend(&ada, id, json!({"count": 12}));
    amend(&ben, id, json!({"count": 13}));
    alike(&[&ada, &ben]);
    let shown = line(&ada, "field/");
    amend(&cleo, id, json!({"count": 14}));
    meet(&ada, &cleo);
    let before = ada.view();
    let answer = Answer::from(&shown.choices[0]).as_shown(&shown);
    let error = ada
        .farm
        .decide(&shown.line, answer)
        .expect_err("it changed");
    assert_eq!(error.kind, ErrorKind::Invalid);
    assert!(
        error.message.contains("changed since it was shown"),
        "{error}"
    );
    let error = ada.farm.find_line(&shown.tag()).expect_err("it changed");
    assert!(
        error.message.contains("changed since it was shown"),
        "{error}"
    );
    let now = line(&ada, "field/");
    assert_eq!(ada.farm.find_line(&now.tag()), Ok(now.clone()));
    assert_eq!(ada.farm.find_line(&now.line), Ok(now.clone()));
    // A choice that the line does not offer, a count where none is asked, a line that is gone.
    let seen = ada.farm.decide(&now.line, &Choice::Seen).expect_err("no");
    assert_eq!(seen.kind, ErrorKind::Invalid);
    let counted = Answer::from(&now.choices[0]).counted(3);
    let error = ada.farm.decide(&now.line, counted).expect_err("no count");
    assert_eq!(error.invalid.expect("a field").field, "counted");
    let error = ada
        .farm
        .decide("field/none", &Choice::Seen)
        .expect_err("gone");
    assert_eq!(error.kind, ErrorKind::NotFound);
    assert_eq!(
        ada.farm.find_line("0000-00").expect_err("gone").kind,
        ErrorKind::NotFound
    );
    assert_eq!(before, ada.view(), "nothing was logged by all this");
}

#[test]
fn the_farms_own_record_cannot_be_voided_and_a_void_of_it_takes_no_zone_away() {
    use pointdown_tests::raw::{Foreign, id};
    let (ada, ben, _, _) = three();
    let farm = ada.farm.id();
    let error = ada.farm.void(farm, "gone").expect_err("not the farm");
    let invalid = error.invalid.expect("a field");
    assert_eq!(invalid.field, "target");
    assert!(
        invalid.allowed.contains("amend its fields"),
        "{}",
        invalid.allowed
    );
    let draft = Draft::new(Kind::Void)
        .with("target", farm.to_string())
        .with("why", "gone");
    ada.refused(draft);
    // An earlier version, or a program of another make, could still write it.
    let by = ada.farm.find(Kind::Person, "Ben").expect("a person");
    let ghost = id("2026-05-01T12:30:00Z", 1);
    let mut foreign = Foreign::beside(&ada.farm, "2026-05", 9);
    let change = foreign.put(&[(
        ghost.to_string(),
        json!({"kind": "void", "target": farm.to_string(), "why": "sold", "by": by.to_string()}),
    )]);
    ada.farm.take(&[change]).expect("it is taken");
    alike(&[&ada, &ben]);
    for phone in [&ada, &ben] {
        assert_eq!(
            phone.farm.zone().expect("a zone").to_string(),
            "America/Chicago"
        );
        let row = phone.farm.record(farm).expect("a look").expect("the farm");
        assert_eq!(row.standing, "live");
        let finding = line(phone, "farm/");
        assert_eq!(finding.what, What::FarmVoided { why: "sold".into() });
        behind(&finding, &[farm, ghost]);
        assert_eq!(who(phone, &finding), ["Ben"]);
    }
    // It can still be amended, and two who amend it apart are a disagreement.
    amend(&ada, farm, json!({"zone": "Europe/Dublin"}));
    amend(&ben, farm, json!({"zone": "Pacific/Auckland"}));
    alike(&[&ada, &ben]);
    assert_eq!(list(&ada).len(), 2);
    decide(
        &ada,
        "field/",
        |c| matches!(c, Choice::Keep { value, .. } if value == "Europe/Dublin"),
    );
    decide(&ben, "farm/", |c| *c == Choice::Void { record: ghost });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
    assert_eq!(
        ben.farm.zone().expect("a zone").to_string(),
        "Europe/Dublin"
    );
    assert_eq!(ada.farm.today().expect("a day").to_string(), "2026-05-01");
    ada.env.set(at("2026-05-01T23:30:00Z"));
    assert_eq!(ada.farm.today().expect("a day").to_string(), "2026-05-02");
}
