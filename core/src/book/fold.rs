use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{Line, Measure, Move, Place, lines, moves, settle};
use crate::record::{Body, Lot, Record, Zone};
use crate::trade::Species;

/// Eggs by place and lot; places without an end, such as the nest, run below zero.
pub type Balances = BTreeMap<(Place, Lot), i64>;

/// Everything that follows from a set of records, by one plain pass over all of them. The database
/// keeps the same incrementally; this is what it is held against.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Book {
    /// Where the eggs are.
    pub balances: Balances,
    /// What was counted, by key, without the lines that come to nothing.
    pub lines: BTreeMap<(NaiveDate, Measure, String, Species, String, String), i64>,
}

/// Folds live records, given in any order. With `until`, only records of farm days up to that one.
pub fn fold(records: &[Record], zone: Zone, until: Option<NaiveDate>) -> Book {
    let mut ordered: Vec<&Record> = records
        .iter()
        .filter(|r| until.is_none_or(|until| zone.day(r.at) <= until))
        .collect();
    ordered.sort_by_key(|r| (r.at, r.id));
    let mut book = Book::default();
    for record in ordered {
        let moved = match &record.body {
            Body::Recount(recount) => {
                let station: Place = recount.station.into();
                let expected: BTreeMap<Lot, i64> = book
                    .balances
                    .iter()
                    .filter(|((place, lot), _)| {
                        *place == station && Some(lot.species) == recount.of_species()
                    })
                    .map(|((_, lot), n)| (*lot, *n))
                    .collect();
                settle(recount, zone.day(record.at), &expected)
            }
            _ => moves(record, zone),
        };
        for m in &moved {
            book.carry(m);
        }
        for line in lines(record, zone, &moved) {
            book.count(line);
        }
    }
    book.balances.retain(|_, n| *n != 0);
    // A round that found nothing is a zero, so rounds stay; other zeros say nothing.
    book.lines.retain(|_, n| *n != 0);
    book
}

impl Book {
    fn carry(&mut self, m: &Move) {
        *self.balances.entry((m.from, m.lot)).or_default() -= i64::from(m.eggs);
        *self.balances.entry((m.to, m.lot)).or_default() += i64::from(m.eggs);
    }

    /// Adds one line.
    pub fn count(&mut self, line: Line) {
        let id = |id: Option<crate::record::Id>| id.map(|id| id.to_string()).unwrap_or_default();
        let key = (
            line.day,
            line.measure,
            id(line.coop),
            line.species,
            id(line.by),
            line.detail,
        );
        *self.lines.entry(key).or_default() += line.n;
    }

    /// Eggs in against eggs at stations, out, pulled and unaccounted: for every lot the sum over
    /// all places is zero, since each move takes from one and gives to another.
    pub fn conserved(&self) -> bool {
        let mut by_lot: BTreeMap<Lot, i64> = BTreeMap::new();
        for ((_, lot), n) in &self.balances {
            *by_lot.entry(*lot).or_default() += n;
        }
        by_lot.values().all(|n| *n == 0)
    }
}
