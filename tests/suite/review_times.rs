//! Rounds logged twice, clocks that were off, and times that cannot be.

use pointdown_core::book::review::{Choice, Misdating, What};
use pointdown_core::record::{Draft, Id, Kind};
use pointdown_tests::phone::{Phone, at, gather, meet};
use pointdown_tests::review::{
    Server, alike, amend, behind, carton, decide, line, lines, list, out, undo, void, who,
};
use serde_json::json;

fn two() -> (Phone, Phone) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    alike(&[&ada, &ben]);
    (ada, ben)
}

fn day(phone: &Phone, id: Id) -> String {
    phone
        .farm
        .record(id)
        .expect("a look")
        .expect("a record")
        .day
}

#[test]
fn a_round_logged_by_two_who_knew_nothing_of_one_another() {
    let (ada, ben) = two();
    let hers = ada.gather("Orchard", "hen", 11);
    ben.env.pass_ms(20 * 60_000);
    let his = ben.gather("Orchard", "hen", 12);
    // Another coop, other birds, another hour, the same phone: none of these.
    ben.gather("Pond", "hen", 3);
    ada.gather("Pond", "duck", 3);
    ada.gather("Orchard", "hen", 2);
    ben.env.pass_ms(61 * 60_000);
    ben.gather("Orchard", "hen", 4);
    alike(&[&ada, &ben]);
    let finding = line(&ada, &format!("twice/{hers}/{his}"));
    assert_eq!(finding.what, What::DoubleLog { counts: (11, 12) });
    behind(&finding, &[hers, his]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"]);
    let logged = decide(&ada, &finding.line, |c| *c == Choice::Void { record: his });
    alike(&[&ada, &ben]);
    assert!(!lines(&ben).contains(&finding.line));
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ben, &finding.line), finding);
    decide(&ben, &finding.line, |c| *c == Choice::BothRight);
    alike(&[&ada, &ben]);
    assert!(!lines(&ada).contains(&finding.line));
}

/// The times alone would say the same in both tests: what was seen tells them apart.
#[test]
fn a_second_round_by_someone_who_saw_the_first_is_no_double() {
    let (ada, ben) = two();
    ada.gather("Orchard", "hen", 11);
    meet(&ada, &ben);
    ben.env.pass_ms(20 * 60_000);
    ben.gather("Orchard", "hen", 12);
    // Nor where the clock of the one who saw it runs behind.
    meet(&ada, &ben);
    ada.env.set(at("2026-05-01T11:50:00Z"));
    ada.gather("Orchard", "hen", 13);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn a_double_of_which_each_voided_another_half() {
    let (ada, ben) = two();
    let hers = ada.gather("Orchard", "hen", 11);
    ben.env.pass_ms(20 * 60_000);
    let his = ben.gather("Orchard", "hen", 12);
    alike(&[&ada, &ben]);
    let first = decide(&ada, "twice/", |c| *c == Choice::Void { record: his })[0].id;
    let second = decide(&ben, "twice/", |c| *c == Choice::Void { record: hers })[0].id;
    alike(&[&ada, &ben]);
    let finding = line(&ada, "twice/");
    assert_eq!(finding.what, What::BothVoided);
    behind(&finding, &[hers, his, first, second]);
    decide(&ben, "twice/", |c| *c == Choice::Restore { void: first });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    let today = ada.farm.today().expect("a day");
    let sheet = ada.farm.sheet(today, today).expect("a sheet");
    assert_eq!(sheet.gathered.eggs, 12);
}

#[test]
fn a_clock_is_measured_at_the_exchange_and_mended_only_when_someone_says_so() {
    let (ada, ben) = two();
    let server = Server::joined_by(&ada);
    server.sync(&ada, "2026-05-01T12:00:01Z");
    assert_eq!(lines(&ada), Vec::<String>::new());
    // Her phone loses a day and an hour; two rounds are dated by it, one by hand.
    ada.env.set(at("2026-04-30T18:00:00Z"));
    let dated = [
        ada.gather("Orchard", "hen", 11),
        ada.gather("Pond", "duck", 4),
    ];
    let by_hand = ada.log(gather("Pond", "hen", 5).at(at("2026-04-29T12:00:00Z")));
    server.sync(&ada, "2026-05-01T19:00:00Z");
    alike(&[&ada, &ben]);
    let finding = line(&ben, "clock/");
    assert_eq!(finding.what, What::ClockOff { shift_s: 25 * 3600 });
    let measured = finding.records[0];
    behind(&finding, &[measured, dated[0], dated[1]]);
    assert_eq!(who(&ben, &finding), ["Ada"]);
    assert_eq!(
        day(&ada, dated[0]),
        "2026-04-30",
        "nothing was mended by itself"
    );
    let shifts = |c: &Choice| matches!(c, Choice::Shift { by_s, .. } if *by_s == 25 * 3600);
    let logged = decide(&ben, "clock/", shifts);
    assert_eq!(logged.len(), 2);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    for id in dated {
        assert_eq!(day(&ada, id), "2026-05-01");
    }
    assert_eq!(day(&ada, by_hand), "2026-04-29");
    undo(&ben, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ada, "clock/"), finding);
    // The same shift chosen on two phones is one answer.
    decide(&ada, "clock/", shifts);
    decide(&ben, "clock/", shifts);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    assert_eq!(day(&ben, dated[0]), "2026-05-01");
}

#[test]
fn a_clock_that_is_right_again_is_not_held_against_what_came_after() {
    let (ada, ben) = two();
    let server = Server::joined_by(&ada);
    ada.env.set(at("2026-05-02T12:00:00Z"));
    let ahead = ada.gather("Orchard", "hen", 11);
    server.sync(&ada, "2026-05-02T11:00:00Z");
    ada.env.set(at("2026-05-02T12:30:00Z"));
    ada.gather("Pond", "duck", 4);
    server.sync(&ada, "2026-05-02T12:30:00Z");
    alike(&[&ada, &ben]);
    let finding = line(&ben, "clock/");
    assert_eq!(finding.what, What::ClockOff { shift_s: -3600 });
    assert_eq!(finding.records[1..], [ahead]);
    decide(&ben, "clock/", |c| *c == Choice::Seen);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn a_record_dated_after_it_was_written() {
    let (ada, ben) = two();
    let early = ada.log(gather("Orchard", "hen", 11).at(at("2026-05-01T18:00:00Z")));
    ada.log(gather("Pond", "hen", 3).at(at("2026-05-01T12:01:30Z")));
    ada.log(gather("Pond", "duck", 3).at(at("2026-05-01T06:00:00Z")));
    alike(&[&ada, &ben]);
    let finding = line(&ben, "date/");
    assert_eq!(
        finding.what,
        What::Misdated {
            how: Misdating::Future,
            cause: None
        }
    );
    behind(&finding, &[early]);
    assert_eq!(who(&ben, &finding), ["Ada"]);
    let logged = decide(&ben, "date/", |c| matches!(c, Choice::Shift { .. }));
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    let row = ada.farm.record(early).expect("a look").expect("a record");
    assert_eq!(row.at, at("2026-05-01T12:00:00Z"), "when it was written");
    undo(&ben, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ada, "date/"), finding);
    decide(&ada, "date/", |c| *c == Choice::Seen);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
}

#[test]
fn a_record_dated_before_its_cause() {
    let (ada, ben) = two();
    ada.gather("Orchard", "hen", 24);
    for phone in [&ada, &ben] {
        phone.env.set(at("2026-05-02T15:00:00Z"));
    }
    let run = ada.log(carton("2026-05-01/hen", 2));
    meet(&ada, &ben);
    // His clock is a day behind, or his finger slipped.
    let sold =
        ben.log(out("sold", run, "2026-05-01/hen", 1, "Mira").at(at("2026-05-01T14:00:00Z")));
    let washed = ben.log(
        Draft::new(Kind::Wash)
            .at(at("2026-04-30T14:00:00Z"))
            .with("parts", "2026-05-01/hen=12")
            .with("means", "dry"),
    );
    alike(&[&ada, &ben]);
    let finding = line(&ada, &format!("date/{sold}"));
    let how = Misdating::BeforePacking;
    assert_eq!(
        finding.what,
        What::Misdated {
            how,
            cause: Some(run)
        }
    );
    behind(&finding, &[sold, run]);
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"]);
    let other = line(&ada, &format!("date/{washed}"));
    let how = Misdating::BeforeGathering;
    assert_eq!(other.what, What::Misdated { how, cause: None });
    amend(&ben, sold, json!({"at": "2026-05-02T14:00:00Z"}));
    assert!(lines(&ben).contains(&finding.line), "still an hour before");
    amend(&ben, sold, json!({"at": "2026-05-02T15:00:00Z"}));
    amend(&ben, washed, json!({"at": "2026-05-01T14:00:00Z"}));
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    // The run moved later brings the question about the out, whichever came first.
    let moved = amend(&ada, run, json!({"at": "2026-05-02T18:00:00Z"}));
    assert_eq!(lines(&ada), [format!("date/{sold}")]);
    void(&ada, moved);
    alike(&[&ada, &ben]);
    assert_eq!(list(&ben), []);
}
