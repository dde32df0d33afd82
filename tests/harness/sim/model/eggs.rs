//! Where the eggs are, record by record in the order of their times.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use pointdown_core::record::Id;

use super::said::Standing;
use super::{Stands, number, parts, text};

/// Eggs at one place.
pub(super) type Shelf = BTreeMap<String, i64>;

/// Records that took eggs away, with who and when, in order.
pub(super) type Took = Vec<(Id, Option<Id>, i64)>;

/// Records that moved eggs somewhere, with who, in order.
pub(super) type Moved = Vec<(Id, Option<Id>)>;

/// The balances, and who took what from where.
#[derive(Debug, Default)]
pub struct Ledger {
    /// Place, then lot, then eggs.
    pub(super) shelves: BTreeMap<&'static str, Shelf>,
    /// Place and lot, then what took eggs away from there.
    pub(super) took: BTreeMap<(&'static str, String), Took>,
    /// Each recount: eggs missing, and what moved there since the recount before.
    pub(super) counts: Vec<(Id, i64, Moved)>,
    /// Place and species, then what moved there since its last recount.
    moved: BTreeMap<(&'static str, String), Moved>,
}

/// Eggs of a lot that a record of these fields brings to a place.
pub(super) fn brought(
    f: &serde_json::Map<String, serde_json::Value>,
    at: i64,
    zone: &TimeZone,
    there: &str,
    lot: &str,
) -> i64 {
    let of_lot = || -> i64 {
        let all = parts(f).into_iter().filter(|(l, _)| l == lot);
        all.map(|(_, n)| n).sum()
    };
    match text(f, "kind") {
        "gather" if there == "basket" && lot_of(f, at, zone) == lot => number(f, "count"),
        "wash" if there == "clean" => of_lot(),
        "carton" if there == "cartoned" => of_lot(),
        "out" if text(f, "way") == "returned" && there == place(text(f, "station")) => of_lot(),
        _ => 0,
    }
}

/// The lot of a gather of these fields; with its coop where the farm keeps them apart.
fn lot_of(f: &serde_json::Map<String, serde_json::Value>, at: i64, zone: &TimeZone) -> String {
    let lot = format!("{}/{}", day(at, zone), text(f, "species"));
    match f.get("apart") == Some(&true.into()) {
        true => format!("{lot}/{}", text(f, "coop")),
        false => lot,
    }
}

/// The farm day of a moment.
pub(super) fn day(at: i64, zone: &TimeZone) -> String {
    let at = jiff::Timestamp::from_millisecond(at).unwrap_or_default();
    zone.to_datetime(at).date().to_string()
}

fn place(word: &str) -> &'static str {
    match word {
        "basket" => "basket",
        "clean" => "clean",
        _ => "cartoned",
    }
}

fn species(lot: &str) -> &str {
    lot.split('/').nth(1).unwrap_or("")
}

impl Ledger {
    /// Plays all records that count.
    pub fn of(stands: &Stands<'_>, zone: &TimeZone) -> Ledger {
        let mut all: Vec<&Standing<'_>> = stands.0.values().filter(|s| s.counts()).collect();
        all.sort_by_key(|s| (s.at, s.fact.id));
        let mut ledger = Ledger::default();
        for s in all {
            ledger.play(s, zone);
        }
        for shelf in ledger.shelves.values_mut() {
            shelf.retain(|_, n| *n != 0);
        }
        ledger
    }

    fn put(&mut self, s: &Standing<'_>, from: &'static str, to: &'static str, lot: &str, n: i64) {
        let shelf = self.shelves.entry(from).or_default();
        *shelf.entry(lot.to_string()).or_default() -= n;
        *self
            .shelves
            .entry(to)
            .or_default()
            .entry(lot.to_string())
            .or_default() += n;
        if s.kind() != "recount" {
            for shelf in [from, to] {
                let moved = self.moved.entry((shelf, species(lot).to_string()));
                let moved = moved.or_default();
                if moved.last().is_none_or(|(id, _)| *id != s.fact.id) {
                    moved.push((s.fact.id, s.by()));
                }
            }
        }
        let took = self.took.entry((from, lot.to_string())).or_default();
        if took.last().is_none_or(|(id, ..)| *id != s.fact.id) {
            took.push((s.fact.id, s.by(), s.at));
        }
    }

    fn play(&mut self, s: &Standing<'_>, zone: &TimeZone) {
        let f = &s.fields;
        match s.kind() {
            "gather" => {
                let lot = lot_of(f, s.at, zone);
                if number(f, "count") > 0 {
                    self.put(s, "nest", "basket", &lot, number(f, "count"));
                }
            }
            "recount" => self.recount(s, zone),
            kind @ ("wash" | "cull" | "carton" | "out") => {
                for (lot, n) in parts(f) {
                    let station = place(text(f, "station"));
                    match kind {
                        "wash" => self.put(s, "basket", "clean", &lot, n),
                        "cull" => self.put(s, station, "pulled", &lot, n),
                        "carton" => self.put(s, place(text(f, "from")), "cartoned", &lot, n),
                        _ if text(f, "way") == "returned" => self.put(s, "out", station, &lot, n),
                        _ => self.put(s, station, "out", &lot, n),
                    }
                }
            }
            _ => {}
        }
    }

    fn recount(&mut self, s: &Standing<'_>, zone: &TimeZone) {
        let station = place(text(&s.fields, "station"));
        let counted = number(&s.fields, "counted");
        let shelf = self.shelves.get(station).cloned().unwrap_or_default();
        let one = text(&s.fields, "lot").to_string();
        let of = match one.as_str() {
            "" => text(&s.fields, "species"),
            lot => species(lot),
        };
        let moved = self.moved.remove(&(station, of.to_string()));
        let mut noted = |short: i64| {
            let moved = moved.clone().unwrap_or_default();
            self.counts.push((s.fact.id, short, moved));
        };
        if !one.is_empty() {
            let short = shelf.get(&one).copied().unwrap_or(0) - counted;
            noted(short);
            self.missed(s, station, &one, short);
            return;
        }
        let whose = text(&s.fields, "species");
        // Text of lots of one species sorts by their day: the oldest first.
        let here: Vec<(String, i64)> = shelf
            .into_iter()
            .filter(|(lot, _)| species(lot) == whose)
            .collect();
        let mut short: i64 = here.iter().map(|(_, n)| n).sum::<i64>() - counted;
        noted(short);
        if short < 0 {
            let newest = here
                .iter()
                .rev()
                .find(|(_, n)| *n > 0)
                .map(|(lot, _)| lot.clone());
            let lot = newest.unwrap_or_else(|| format!("{}/{whose}", day(s.at, zone)));
            self.missed(s, station, &lot, short);
            return;
        }
        for (lot, n) in here {
            let missed = n.clamp(0, short);
            self.missed(s, station, &lot, missed);
            short -= missed;
        }
    }

    fn missed(&mut self, s: &Standing<'_>, station: &'static str, lot: &str, short: i64) {
        match short {
            0 => {}
            n if n > 0 => self.put(s, station, "unaccounted", lot, n),
            n => self.put(s, "unaccounted", station, lot, -n),
        }
    }
}
