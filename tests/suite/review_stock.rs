//! Eggs that cannot be: more left than came, counts that were overtaken, coops that were retired.

use pointdown_core::book::Place;
use pointdown_core::book::review::{Choice, What};
use pointdown_core::farm::Answer;
use pointdown_core::record::{Draft, Id, Kind};
use pointdown_tests::phone::{Phone, at, gather, meet};
use pointdown_tests::review::{
    alike, amend, behind, carton, decide, line, lines, list, out, undo, void, who,
};
use serde_json::json;

const LOT: &str = "2026-05-01/hen";

fn two() -> (Phone, Phone, Id) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let id = ada.gather("Orchard", "hen", 12);
    let ben = ada.another("Ben");
    alike(&[&ada, &ben]);
    for phone in [&ada, &ben] {
        phone.env.set(at("2026-05-02T15:00:00Z"));
    }
    (ada, ben, id)
}

fn basket(phone: &Phone) -> i64 {
    let here = phone.farm.on_hand().expect("on hand");
    let basket = here.iter().filter(|h| h.station == Place::Basket);
    basket.map(|h| h.eggs).sum()
}

#[test]
fn two_people_carton_the_same_basket() {
    let (ada, ben, gathered) = two();
    let hers = ada.log(carton(LOT, 2));
    ben.env.pass_ms(60_000);
    let his = ben.log(carton(LOT, 2));
    alike(&[&ada, &ben]);
    let finding = line(&ada, "over/");
    assert_eq!(finding.line, format!("over/basket/{LOT}"));
    assert!(matches!(
        finding.what,
        What::Overdraw {
            eggs: 12,
            place: Place::Basket,
            ..
        }
    ));
    behind(&finding, &[hers, his]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"]);
    assert_eq!(
        finding.choices[1..],
        [
            Choice::Void { record: his },
            Choice::Void { record: hers },
            Choice::Seen
        ],
        "the later one first"
    );
    // Counting is one step too, and needs its number.
    let error = ada.farm.decide(&finding.line, &finding.choices[0]);
    let invalid = error.expect_err("no number").invalid.expect("a field");
    assert_eq!(
        (invalid.field.as_str(), invalid.value.as_str()),
        ("counted", "nothing")
    );
    let answer = Answer::from(&finding.choices[0]).counted(20_000);
    let error = ada
        .farm
        .decide(&finding.line, answer)
        .expect_err("too many");
    assert_eq!(error.invalid.expect("a field").field, "counted");
    let answer = Answer::from(&finding.choices[0])
        .counted(0)
        .as_shown(&finding);
    let logged = ada.farm.decide(&finding.line, answer).expect("a recount");
    assert_eq!(logged[0].record.kind, "recount");
    assert_eq!(
        logged[0].record.fields["expected"], -12,
        "as the book stood"
    );
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ben), basket(&ben)), (vec![], 0));
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ben, "over/"), finding);
    // Void one: the cause is gone.
    decide(&ben, "over/", |c| *c == Choice::Void { record: hers });
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ada), basket(&ada)), (vec![], 0));
    let _ = gathered;
}

/// Each voids the other's cartons: then none stands, and the basket is full again, with no line to
/// hide what happened: both voids are in the book, and either can be taken back.
#[test]
fn one_overdraw_settled_in_two_ways() {
    let (ada, ben, _) = two();
    let (hers, his) = (ada.log(carton(LOT, 2)), ben.log(carton(LOT, 2)));
    alike(&[&ada, &ben]);
    let logged = decide(&ada, "over/", |c| *c == Choice::Void { record: his });
    decide(&ben, "over/", |c| *c == Choice::Void { record: hers });
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ada), basket(&ada)), (vec![], 12));
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ada), basket(&ada)), (vec![], 0));
}

#[test]
fn a_gather_moved_to_another_day_after_its_lot_was_cartoned() {
    let (ada, ben, gathered) = two();
    let run = ada.log(carton(LOT, 2));
    let moved = amend(&ben, gathered, json!({"at": "2026-04-30T12:00:00Z"}));
    alike(&[&ada, &ben]);
    let finding = line(&ada, "over/");
    assert_eq!(finding.line, format!("over/basket/{LOT}"));
    behind(&finding, &[run, gathered, moved]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"], "both");
    assert_eq!(finding.choices[1], Choice::Void { record: moved });
    let logged = decide(&ada, "over/", |c| *c == Choice::Void { record: moved });
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ben), basket(&ben)), (vec![], 0));
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ben, "over/"), finding);
    // Or the cartons are of the other lot, by amendment.
    amend(&ada, run, json!({"parts": "2026-04-30/hen=12"}));
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ben), basket(&ben)), (vec![], 0));
}

#[test]
fn a_gather_voided_after_its_lot_was_cartoned_can_be_brought_back() {
    let (ada, ben, gathered) = two();
    let run = ada.log(carton(LOT, 2));
    let voided = void(&ben, gathered);
    alike(&[&ada, &ben]);
    let finding = line(&ada, "over/");
    behind(&finding, &[run, gathered, voided]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"]);
    decide(&ada, "over/", |c| *c == Choice::Restore { void: voided });
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ben), basket(&ben)), (vec![], 0));
}

fn recount(counted: u32) -> Draft {
    Draft::new(Kind::Recount)
        .with("station", "basket")
        .with("species", "hen")
        .with("counted", counted)
}

#[test]
fn a_recount_that_races_late_records() {
    let (ada, ben, _) = two();
    let late = ben.log(gather("Pond", "hen", 5).at(at("2026-05-02T12:00:00Z")));
    let counted = ada.log(recount(12));
    let row = ada
        .farm
        .record(counted)
        .expect("a look")
        .expect("a recount");
    assert_eq!(row.fields["expected"], 12);
    assert_eq!(lines(&ada), Vec::<String>::new());
    alike(&[&ada, &ben]);
    let finding = line(&ben, "count/");
    assert_eq!(
        finding.what,
        What::CountOvertaken {
            counted: 12,
            then: 12,
            now: 17
        }
    );
    behind(&finding, &[counted, late]);
    assert_eq!(who(&ben, &finding), ["Ada", "Ben"]);
    // Counted again, with the late eggs.
    let again = finding.choices[0].clone();
    assert!(again.wants_count());
    let answer = Answer::new(again).counted(17).as_shown(&finding);
    ben.env.pass_ms(60_000);
    let logged = ben.farm.decide(&finding.line, answer).expect("a recount");
    assert_eq!(logged[0].record.fields["expected"], 12);
    alike(&[&ada, &ben]);
    assert_eq!(basket(&ada), 17);
    // The first count is still what it was; a person says so, or voids it.
    let logged = decide(&ada, "count/", |c| *c == Choice::Void { record: counted });
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ben), basket(&ben)), (vec![], 17));
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ben, "count/"), finding);
    decide(&ben, "count/", |c| *c == Choice::Seen);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn late_records_that_the_count_agrees_with_are_no_question() {
    let (ada, ben, _) = two();
    ben.log(gather("Pond", "hen", 5).at(at("2026-05-02T12:00:00Z")));
    // Ada sees all seventeen: Ben's are in the basket already.
    ada.log(recount(17));
    // And what happens after the count does not race it.
    ben.env.pass_ms(600_000);
    ben.gather("Orchard", "hen", 3);
    alike(&[&ada, &ben]);
    assert_eq!((lines(&ada), basket(&ada)), (vec![], 20));
}

#[test]
fn a_coop_renamed_on_one_phone_and_retired_on_another() {
    let (ada, ben, _) = two();
    let coop = ada.farm.find(Kind::Coop, "Pond").expect("a coop");
    amend(&ada, coop, json!({"name": "Meadow"}));
    let retired = amend(&ben, coop, json!({"retired": "2026-05-01"}));
    let round = ada.log(gather("Meadow", "hen", 4));
    alike(&[&ada, &ben]);
    let row = ben.farm.record(coop).expect("a look").expect("a coop");
    assert_eq!(
        (&row.fields["name"], &row.fields["retired"]),
        (&json!("Meadow"), &json!("2026-05-01")),
        "both hold"
    );
    assert_eq!(row.conflicts, []);
    let finding = line(&ben, "retired/");
    behind(&finding, &[round, retired]);
    assert_eq!(who(&ben, &finding), ["Ada", "Ben"]);
    // The coop is in use after all.
    let logged = decide(&ada, "retired/", |c| *c == Choice::Void { record: retired });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ben, "retired/"), finding);
    decide(&ben, "retired/", |c| *c == Choice::Void { record: round });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn one_person_under_two_names() {
    let (ada, ben, _) = two();
    // Ben wrote as Benjamin on another phone before.
    let his = ben.farm.person().expect("a person");
    let other = ada.log(Draft::new(Kind::Person).with("name", "Benjamin"));
    ada.log(gather("Pond", "hen", 4).with("by", other.to_string()));
    ben.log(gather("Orchard", "hen", 3));
    alike(&[&ada, &ben]);
    assert_eq!(
        lines(&ada),
        Vec::<String>::new(),
        "two names may be two people"
    );
    // Someone who knows better gives both one name; the totals are one person's then.
    amend(&ada, other, json!({"name": "ben"}));
    alike(&[&ada, &ben]);
    let finding = line(&ben, "name/person/ben");
    behind(&finding, &[his, other]);
    let logged = decide(&ben, "name/", |c| *c == Choice::Retire { record: other });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    let row = ada.farm.record(other).expect("a look").expect("a person");
    assert_eq!(row.fields["retired"], "2026-05-02");
    undo(&ben, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ada, "name/"), finding);
    decide(&ada, "name/", |c| *c == Choice::BothRight);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
    // A third of that name is a question of its own.
    ben.log(Draft::new(Kind::Person).with("name", "Ben "));
    assert_eq!(line(&ben, "name/").records.len(), 3);
}

#[test]
fn what_is_left_of_a_run_does_not_depend_on_the_order_of_its_outs() {
    let (ada, _, _) = two();
    let run = ada.log(carton(LOT, 2));
    // More returned than was ever sold from it, then sold: cut off at nothing only at the end.
    ada.env.pass_ms(1000);
    ada.log(out("sold", run, LOT, 2, "Mira"));
    ada.env.pass_ms(1000);
    ada.log(out("sold", run, LOT, 2, "Noor"));
    ada.env.pass_ms(1000);
    ada.log(out("returned", run, LOT, 2, "Noor"));
    ada.log(
        Draft::new(Kind::Hold)
            .with("from", "2026-05-01")
            .with("cause", "medicine"),
    );
    let What::HeldEggs { on_shelf, .. } = list(&ada)[0].what.clone() else {
        panic!("held eggs come first");
    };
    assert_eq!(
        on_shelf.len(),
        0,
        "two packed, four sold, two back: none here"
    );
    let ben = ada.another("Ben");
    meet(&ada, &ben);
    assert_eq!(list(&ada), list(&ben));
}
