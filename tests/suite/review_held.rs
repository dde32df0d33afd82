//! Eggs that someone else put on hold: first in the list, always.

use pointdown_core::book::review::{Choice, Weight, What};
use pointdown_core::record::{Draft, Id, Kind};
use pointdown_tests::phone::{Phone, at};
use pointdown_tests::review::{alike, behind, carton, decide, line, lines, list, out, undo, who};
use serde_json::json;

const LOT: &str = "2026-05-01/hen";

fn hold(coop: Option<&str>) -> Draft {
    let draft = Draft::new(Kind::Hold)
        .with("from", "2026-05-01")
        .with("until", "2026-05-07")
        .with("cause", "medicine")
        .with("given", "as on its label");
    match coop {
        Some(coop) => draft.with("coop", coop),
        None => draft,
    }
}

/// Ada packs and sells while Ben, apart, puts the coop on hold.
fn packed_and_held(other_coop: bool) -> (Phone, Phone, [Id; 3], Id) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    ada.gather("Orchard", "hen", 24);
    if other_coop {
        ada.gather("Pond", "hen", 6);
    }
    ada.env.set(at("2026-05-02T15:00:00Z"));
    ben.env.set(at("2026-05-02T08:00:00Z"));
    let run = ada.log(carton(LOT, 3));
    let rest = ada.log(carton(LOT, 1));
    let sold = ada.log(out("sold", run, LOT, 2, "Mira"));
    let hold = ben.log(hold(Some("Orchard")));
    alike(&[&ada, &ben]);
    (ada, ben, [run, rest, sold], hold)
}

#[test]
fn held_eggs_come_first_with_what_is_here_and_what_is_out_and_to_whom() {
    let (ada, ben, [run, rest, sold], held) = packed_and_held(false);
    // Newer lines of other kinds do not come before it.
    ada.env.set(at("2026-05-03T15:00:00Z"));
    ada.log(carton("2026-05-03/hen", 1));
    alike(&[&ada, &ben]);
    let all = list(&ben);
    assert!(all.len() > 1);
    let finding = &all[0];
    assert_eq!(finding.line, format!("held/{held}"));
    assert_eq!(finding.weight, Weight::Urgent);
    assert!(all[1..].iter().all(|f| f.weight > Weight::Urgent));
    assert_eq!(
        json!(finding.what),
        json!({"kind": "held_eggs", "certain": true,
            "on_shelf": {run.to_string(): 1, rest.to_string(): 1},
            "gone": {sold.to_string(): "Mira"}})
    );
    behind(finding, &[held, run, rest, sold]);
    assert_eq!(who(&ben, finding), ["Ada", "Ben"]);
    assert_eq!(
        finding.since,
        at("2026-05-02T15:00:00Z"),
        "both were there from then on"
    );
}

#[test]
fn what_is_still_here_is_pulled_in_one_step_and_what_is_out_stays_on_the_list() {
    let (ada, ben, [run, rest, sold], _) = packed_and_held(false);
    let before = line(&ada, "held/");
    let logged = decide(&ben, "held/", |c| matches!(c, Choice::PullHeld { .. }));
    assert_eq!(logged.len(), 2);
    for one in &logged {
        assert_eq!(one.record.kind, "cull");
        assert_eq!(one.record.fields["reason"], "held");
        assert_eq!(one.record.fields["parts"][LOT], 6);
    }
    alike(&[&ada, &ben]);
    let after = line(&ada, "held/");
    assert_eq!(
        json!(after.what),
        json!({"kind": "held_eggs", "certain": true, "on_shelf": {},
            "gone": {sold.to_string(): "Mira"}})
    );
    assert_eq!(after.choices, [Choice::Seen]);
    undo(&ben, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ada, "held/"), before);
    let _ = (run, rest);
}

#[test]
fn a_hold_that_was_seen_comes_back_when_more_is_sold() {
    let (ada, ben, [run, ..], held) = packed_and_held(false);
    let logged = decide(&ben, "held/", |c| *c == Choice::Seen);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
    ada.log(out("given", run, LOT, 1, "Noor"));
    alike(&[&ada, &ben]);
    let finding = line(&ben, "held/");
    assert!(json!(finding.what)["gone"].to_string().contains("Noor"));
    decide(&ben, "held/", |c| *c == Choice::Seen);
    undo(&ben, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new(), "the newer word holds");
    // Only the end of the hold, or its void, ends its cause.
    ben.farm.void(held, "the test was clear").expect("a void");
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ada), Vec::<String>::new());
}

#[test]
fn pulled_on_two_phones_is_an_overdraw_that_one_void_mends() {
    let (ada, ben, [_, rest, _], _) = packed_and_held(false);
    decide(&ada, "held/", |c| matches!(c, Choice::PullHeld { .. }));
    let his = decide(&ben, "held/", |c| matches!(c, Choice::PullHeld { .. }));
    alike(&[&ada, &ben]);
    let finding = line(&ada, "over/cartoned/");
    assert_eq!(who(&ada, &finding), ["Ada", "Ben"]);
    undo(&ben, &his);
    alike(&[&ada, &ben]);
    assert!(lines(&ada).iter().all(|line| line.starts_with("held/")));
    let _ = rest;
}

#[test]
fn pooled_eggs_may_be_held_and_those_of_another_coop_are_not() {
    let (ada, _, _, _) = packed_and_held(true);
    let What::HeldEggs { certain, .. } = line(&ada, "held/").what else {
        panic!("held eggs");
    };
    assert!(!certain, "eggs of two coops are in that lot");
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    ada.gather("Orchard", "hen", 12);
    ada.log(carton(LOT, 1));
    ada.log(hold(Some("Pond")));
    assert_eq!(lines(&ada), Vec::<String>::new());
    ada.log(hold(None));
    assert_eq!(lines(&ada).len(), 1, "the whole farm");
}
