//! Stocktakes that differ from the book: each is a line of its own.

use std::collections::BTreeMap;

use pointdown_core::book::Place;
use pointdown_core::book::review::{Choice, Weight, What};
use pointdown_core::farm::{Answer, CountOf};
use pointdown_core::record::{Draft, Kind, Lot, Station};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, at, gather};
use pointdown_tests::review::{alike, amend, behind, carton, decide, line, lines, undo, void, who};
use serde_json::json;

const LOT: &str = "2026-05-01/hen";

fn lot(text: &str) -> Lot {
    text.parse().expect("a lot")
}

/// Twelve hen eggs of Ada's, a day ago, on two phones.
fn two() -> (Phone, Phone) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    ada.gather("Orchard", "hen", 12);
    let ben = ada.another("Ben");
    alike(&[&ada, &ben]);
    for phone in [&ada, &ben] {
        phone.env.set(at("2026-05-02T15:00:00Z"));
    }
    (ada, ben)
}

fn count(of: &str, counted: u32) -> Draft {
    let field = if of.contains('/') { "lot" } else { "species" };
    Draft::new(Kind::Recount)
        .with("station", "basket")
        .with(field, of)
        .with("counted", counted)
}

#[test]
fn a_count_of_a_lot_names_everything_about_it() {
    let (ada, ben) = two();
    let gathered = ada.farm.list(&Default::default()).expect("a list");
    let gathered = gathered.iter().find(|row| row.kind == "gather");
    let gathered = gathered.expect("a gather").id;
    let run = ada.log(carton(LOT, 1));
    ada.log(gather("Pond", "hen", 7));
    alike(&[&ada, &ben]);
    ben.env.pass_ms(60_000);
    let counted = ben.log(count(LOT, 4));
    let finding = line(&ben, "stock/");
    assert_eq!(finding.line, format!("stock/{counted}"));
    assert_eq!(
        (finding.weight, finding.state.as_str()),
        (Weight::Note, "4 6")
    );
    assert_eq!(finding.since, ben.env_now());
    let what = What::Stocktake {
        by: ben.farm.person(),
        place: Place::Basket,
        species: Species::Hen,
        lot: Some(lot(LOT)),
        counted: 4,
        booked: 6,
        by_lot: BTreeMap::from([(lot(LOT), -2)]),
    };
    assert_eq!(finding.what, what);
    behind(&finding, &[counted, gathered, run]);
    assert_eq!(finding.records[0], counted, "the count itself comes first");
    assert_eq!(who(&ben, &finding), ["Ada", "Ben"]);
    let again = Choice::Recount {
        place: Place::Basket,
        lot: lot(LOT),
    };
    let all = [
        again.clone(),
        Choice::Void { record: counted },
        Choice::Seen,
    ];
    assert_eq!(finding.choices, all);

    alike(&[&ada, &ben]);
    let logged = decide(&ada, "stock/", |c| *c == Choice::Seen);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
    undo(&ada, &logged);
    alike(&[&ada, &ben]);
    assert_eq!(line(&ben, "stock/"), finding);
    // Counted again: the answer is no question of its own, and the first count is voided by hand.
    ada.env.pass_ms(60_000);
    let answer = Answer::new(again).counted(6).as_shown(&finding);
    ada.farm.decide(&finding.line, answer).expect("a recount");
    assert_eq!(lines(&ada).concat(), finding.line);
    decide(&ada, "stock/", |c| *c == Choice::Void { record: counted });
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
}

#[test]
fn a_count_of_a_species_says_which_lots_it_was_laid_to() {
    let (ada, ben) = two();
    let before = ada.log(gather("Orchard", "hen", 9));
    ada.env.pass_ms(60_000);
    ada.log(count("hen", 7));
    let finding = line(&ada, "stock/");
    let What::Stocktake { by_lot, booked, .. } = &finding.what else {
        panic!("{finding:?}");
    };
    // The oldest eggs are missed first.
    let laid = BTreeMap::from([(lot(LOT), -12), (lot("2026-05-02/hen"), -2)]);
    assert_eq!((by_lot, *booked), (&laid, 21));
    assert!(finding.records.contains(&before));
    assert_eq!(
        finding.choices[0],
        Choice::RecountAll {
            place: Place::Basket,
            species: Species::Hen,
        }
    );
    decide(&ada, "stock/", |c| *c == Choice::Seen);
    // A count that agrees asks nothing; the next one that does not is about what came since.
    ada.env.pass_ms(60_000);
    ada.log(count("hen", 7));
    assert_eq!(lines(&ada), Vec::<String>::new());
    ada.env.pass_ms(60_000);
    let since = ada.log(gather("Pond", "hen", 3));
    ada.env.pass_ms(60_000);
    let counted = ada.log(count("hen", 11));
    let finding = line(&ada, "stock/");
    assert_eq!(finding.state, "11 10");
    behind(&finding, &[counted, since]);
    alike(&[&ada, &ben]);
}

/// A count of one lot does not answer for the others of its moment, nor for the species.
#[test]
fn lots_counted_at_one_moment_each_go_back_to_their_own_count() {
    let (ada, _) = two();
    let first = ada.log(gather("Orchard", "hen", 9));
    ada.env.pass_ms(60_000);
    let counts = [
        (CountOf::Lot(lot(LOT)), 12),
        (CountOf::Lot(lot("2026-05-02/hen")), 8),
    ];
    let found = ada.farm.stocktake(Station::Basket, &counts, None);
    let found = found.expect("a stocktake");
    let finding = line(&ada, "stock/");
    behind(&finding, &[found.counted[1].record, first]);
    assert_eq!(found.counted[0].line, None);
    assert_eq!(found.counted[1].line, Some(finding.tag()));
}

#[test]
fn what_comes_late_makes_it_a_count_that_was_overtaken() {
    let (ada, ben) = two();
    let late = ben.log(gather("Pond", "hen", 5).at(at("2026-05-02T12:00:00Z")));
    let counted = ada.log(count("hen", 10));
    assert_eq!(line(&ada, "stock/").state, "10 12");
    decide(&ada, "stock/", |c| *c == Choice::Seen);
    alike(&[&ada, &ben]);
    let finding = line(&ada, "");
    assert_eq!(finding.line, format!("count/{counted}"));
    behind(&finding, &[counted, late]);
    // Mended to another moment it is a count of another shelf, and differs by itself.
    amend(&ada, counted, json!({"at": "2026-05-02T11:00:00Z"}));
    alike(&[&ada, &ben]);
    assert_eq!(
        lines(&ben),
        Vec::<String>::new(),
        "12 were expected then too, and that was seen"
    );
    amend(&ada, counted, json!({"counted": 9}));
    assert_eq!(line(&ada, "stock/").state, "9 12");
    void(&ada, counted);
    alike(&[&ada, &ben]);
    assert_eq!(lines(&ben), Vec::<String>::new());
}
