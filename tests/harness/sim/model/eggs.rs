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

/// A recount, as the book stood at its moment.
#[derive(Debug, Clone)]
pub(super) struct Count {
    /// Its record.
    pub(super) id: Id,
    /// Eggs missing; below zero where there were too many.
    pub(super) short: i64,
    /// What moved there since the recount before it, of whatever lots of its species.
    pub(super) moved: Moved,
    /// What moved the counted eggs there since they were counted there before.
    pub(super) since: Moved,
    /// Found less expected, by the lots that it was laid to.
    pub(super) laid: BTreeMap<String, i64>,
}

/// One record that moved eggs of a lot to or from a place.
#[derive(Debug)]
struct Step {
    place: &'static str,
    lot: String,
    id: Id,
    by: Option<Id>,
}

/// A recount of a place: of a lot, or of a species where the lot is empty, when so many steps had
/// been taken.
#[derive(Debug)]
struct Taken {
    place: &'static str,
    species: String,
    lot: String,
    steps: usize,
}

/// The balances, and who took what from where.
#[derive(Debug, Default)]
pub struct Ledger {
    /// Place, then lot, then eggs.
    pub(super) shelves: BTreeMap<&'static str, Shelf>,
    /// Place and lot, then what took eggs away from there.
    pub(super) took: BTreeMap<(&'static str, String), Took>,
    /// Each recount.
    pub(super) counts: Vec<Count>,
    steps: Vec<Step>,
    taken: Vec<Taken>,
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
                self.steps.push(Step {
                    place: shelf,
                    lot: lot.to_string(),
                    id: s.fact.id,
                    by: s.by(),
                });
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
        let since = self.since_counted(station, of, &one);
        let noted = |ledger: &mut Ledger, short: i64| {
            ledger.counts.push(Count {
                id: s.fact.id,
                short,
                moved: moved.clone().unwrap_or_default(),
                since: since.clone(),
                laid: BTreeMap::new(),
            });
        };
        if !one.is_empty() {
            let short = shelf.get(&one).copied().unwrap_or(0) - counted;
            noted(self, short);
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
        noted(self, short);
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

    /// What moved eggs of a lot, or of a whole species, here since all of them were counted here
    /// before; from now on that is this count.
    fn since_counted(&mut self, place: &'static str, species: &str, lot: &str) -> Moved {
        let covers = |taken: &&Taken| {
            let all = taken.lot.is_empty() && taken.species == species;
            taken.place == place && (all || (!lot.is_empty() && taken.lot == lot))
        };
        let before = self.taken.iter().rev().find(covers);
        let before = before.map_or(0, |taken| taken.steps);
        let here = self.steps[before..].iter().filter(|step| {
            let same = if lot.is_empty() {
                self::species(&step.lot) == species
            } else {
                step.lot == lot
            };
            step.place == place && same
        });
        let moved = here.map(|step| (step.id, step.by)).collect();
        self.taken.push(Taken {
            place,
            species: species.into(),
            lot: lot.into(),
            steps: self.steps.len(),
        });
        moved
    }

    fn missed(&mut self, s: &Standing<'_>, station: &'static str, lot: &str, short: i64) {
        if let Some(count) = self.counts.last_mut().filter(|_| short != 0) {
            *count.laid.entry(lot.to_string()).or_default() -= short;
        }
        match short {
            0 => {}
            n if n > 0 => self.put(s, station, "unaccounted", lot, n),
            n => self.put(s, "unaccounted", station, lot, -n),
        }
    }
}
