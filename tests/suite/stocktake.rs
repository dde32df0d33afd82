//! Stocktake: several counts of a station at one moment, against the book, with what may be behind.

use pointdown_core::farm::{CountOf, ErrorKind};
use pointdown_core::record::{Draft, Kind, Lot, Station};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, at, gather, meet};

fn lot(text: &str) -> CountOf {
    CountOf::Lot(text.parse::<Lot>().unwrap())
}

fn start() -> Phone {
    let phone = Phone::first("Ada", "2026-05-01T06:00:00Z", "Etc/UTC");
    phone.env.set(at("2026-05-03T20:00:00Z"));
    phone.log(gather("Orchard", "hen", 12).at(at("2026-05-01T08:00:00Z")));
    phone.log(gather("Orchard", "hen", 9).at(at("2026-05-02T08:00:00Z")));
    phone.log(gather("Pond", "duck", 5).at(at("2026-05-02T08:10:00Z")));
    phone
}

#[test]
fn a_station_is_counted_at_one_moment_and_what_differs_is_shown() {
    let phone = start();
    let counts = [(lot("2026-05-01/hen"), 10), (lot("2026-05-02/hen"), 9)];
    let found = phone
        .farm
        .stocktake(Station::Basket, &counts, None)
        .unwrap();
    let rows: Vec<_> = found
        .counted
        .iter()
        .map(|c| (c.expected, c.counted, c.difference))
        .collect();
    assert_eq!(rows, [(12, 10, -2), (9, 9, 0)]);
    assert_eq!(found.counted[0].by_lot.values().sum::<i64>(), -2);
    assert!(found.counted[1].by_lot.is_empty());
    assert!(found.counted[0].explained_by.is_empty());
    assert_eq!(found.not_counted.values().sum::<i64>(), 5, "the ducks");
    for counted in &found.counted {
        let row = phone.farm.record(counted.record).unwrap().unwrap();
        assert_eq!((row.kind.as_str(), row.at), ("recount", found.at));
    }
    let hens: i64 = phone
        .farm
        .on_hand()
        .unwrap()
        .iter()
        .filter(|h| h.species == Species::Hen)
        .map(|h| h.eggs)
        .sum();
    assert_eq!(hens, 19);
    assert_eq!(phone.farm.check().unwrap().wrong, Vec::<String>::new());
    // A species as a whole, more than expected, at a moment of the day before.
    let counts = [(CountOf::Species(Species::Duck), 6)];
    let when = at("2026-05-02T12:00:00Z");
    let found = phone
        .farm
        .stocktake(Station::Basket, &counts, Some(when))
        .unwrap();
    assert_eq!(
        (found.counted[0].expected, found.counted[0].difference),
        (5, 1)
    );
    assert_eq!(found.at, when);
}

#[test]
fn counts_that_overlap_or_cannot_be_log_nothing_at_all() {
    let phone = start();
    let before = phone.view();
    let hens = CountOf::Species(Species::Hen);
    let first = lot("2026-05-01/hen");
    for counts in [
        vec![],
        vec![(first, 10), (first, 11)],
        vec![(hens, 10), (first, 11)],
        vec![(first, 11), (hens, 10)],
        vec![(first, 11), (CountOf::Species(Species::Duck), 10_001)],
        vec![(first, 11), (lot("1999-01-01/hen"), 1)],
    ] {
        let error = phone
            .farm
            .stocktake(Station::Basket, &counts, None)
            .expect_err(&format!("{counts:?}"));
        assert_eq!(error.kind, ErrorKind::Invalid);
    }
    let late = at("2026-06-01T00:00:00Z");
    assert!(
        phone
            .farm
            .stocktake(Station::Basket, &[(first, 11)], Some(late))
            .is_err()
    );
    assert_eq!(before, phone.view());
}

#[test]
fn a_round_logged_twice_explains_the_eggs_that_are_missing() {
    let ada = start();
    let ben = ada.another("Ben");
    let when = at("2026-05-03T08:00:00Z");
    let one = ada.log(gather("Orchard", "hen", 11).at(when));
    let two = ben.log(gather("Orchard", "hen", 11).at(when.plus_ms(60_000)));
    meet(&ada, &ben);
    ada.log(
        Draft::new(Kind::Hold)
            .with("from", "2026-05-03")
            .with("cause", "test"),
    );
    let found = ada
        .farm
        .stocktake(Station::Basket, &[(lot("2026-05-03/hen"), 11)], None)
        .unwrap();
    let counted = &found.counted[0];
    assert_eq!((counted.expected, counted.difference), (22, -11));
    assert_eq!(counted.explained_by.len(), 1, "{:#?}", counted.explained_by);
    let line = &counted.explained_by[0];
    assert!(line.records.contains(&one) && line.records.contains(&two));
}
