use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days as DayStep, NaiveDate};
use serde::Serialize;

use super::{Line, Measure, Place};
use crate::record::{Id, Lot};
use crate::trade::Species;

/// Names of coops and people, by id.
pub type Names = BTreeMap<Id, String>;

/// What a sheet is made from.
#[derive(Debug, Clone)]
pub struct SheetInput {
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// The lines of these days.
    pub lines: Vec<Line>,
    /// Eggs at each place and lot at the end of the last day.
    pub on_hand: Vec<(Place, Lot, i64)>,
    /// Each flock that should be gathered from.
    pub flocks: Vec<Flock>,
    /// Names to show.
    pub names: Names,
}

/// The birds of one species in one coop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Flock {
    /// The coop.
    pub coop: Id,
    /// The birds.
    pub species: Species,
    /// The first farm day that the coop is known.
    pub first: NaiveDate,
    /// The last day it was used; nothing while it is in use.
    pub last: Option<NaiveDate>,
}

/// The combined totals of one farm day, or of a span of days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sheet {
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// Eggs gathered.
    pub gathered: Gathered,
    /// Eggs pulled.
    pub pulled: Pulled,
    /// Eggs cleaned, by means.
    pub washed: BTreeMap<String, i64>,
    /// Eggs looked through, by quality found.
    pub candled: BTreeMap<String, i64>,
    /// Eggs packed.
    pub cartoned: Vec<Cartoned>,
    /// Eggs that left or came back.
    pub out: Out,
    /// Eggs that recounts missed, by species; below zero where they found more than expected.
    pub unaccounted: BTreeMap<Species, i64>,
    /// Mean egg weight by species in grams, of the eggs that were weighed.
    pub mean_grams: BTreeMap<Species, f64>,
    /// Where eggs are at the end of the last day.
    pub on_hand: Vec<OnHand>,
}

/// Eggs gathered, divided in three ways.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Gathered {
    /// All of them.
    pub eggs: i64,
    /// Of these, eggs not laid in a nest.
    pub floor_laid: i64,
    /// By coop and species; flocks that nobody gathered from are listed too.
    pub by_coop: Vec<CoopRow>,
    /// By species.
    pub by_species: BTreeMap<Species, i64>,
    /// By the person's name.
    pub by_person: BTreeMap<String, i64>,
}

/// One flock's row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoopRow {
    /// The coop.
    pub coop: Id,
    /// Its name.
    pub name: String,
    /// Whose eggs.
    pub species: Species,
    /// Eggs gathered; nothing where no round was logged on any of the days.
    pub eggs: Option<i64>,
    /// Of these, eggs not laid in a nest.
    pub floor_laid: i64,
    /// Gather records.
    pub rounds: i64,
    /// How many of the days are known.
    pub days: Days,
}

/// Days with a gather against days that nobody knows about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Days {
    /// Days with at least one round.
    pub known: u32,
    /// Of these, days on which no egg was found.
    pub zero: u32,
    /// Days without any round: unknown, not zero.
    pub unknown: u32,
}

/// Eggs pulled, divided in two ways.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Pulled {
    /// All of them.
    pub eggs: i64,
    /// By reason.
    pub by_reason: BTreeMap<String, i64>,
    /// By what became of them.
    pub by_use: BTreeMap<String, i64>,
}

/// Cartons of one species, size and capacity.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Cartoned {
    /// Whose eggs.
    pub species: Species,
    /// Weight class, empty where none was given.
    pub size: String,
    /// Eggs in each carton.
    pub eggs_per_carton: u32,
    /// Cartons.
    pub cartons: i64,
    /// Eggs in them.
    pub eggs: i64,
}

/// Eggs that left or came back.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Out {
    /// Eggs by way: sold, given, eaten, returned.
    pub eggs: BTreeMap<String, i64>,
    /// Cartons by way.
    pub cartons: BTreeMap<String, i64>,
}

/// Eggs of one species at one station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OnHand {
    /// Where.
    pub station: Place,
    /// Whose eggs.
    pub species: Species,
    /// How many; below zero where more left than ever came (an overdraw).
    pub eggs: i64,
    /// The lots that they are of.
    pub lots: BTreeMap<Lot, i64>,
}

/// Makes the sheet of a day or a span of days.
pub fn sheet(input: &SheetInput) -> Sheet {
    let mut pulled = Pulled::default();
    let mut washed = BTreeMap::new();
    let mut candled = BTreeMap::new();
    let mut out = Out::default();
    let mut unaccounted = BTreeMap::new();
    let mut cartoned: BTreeMap<(Species, String, u32), (i64, i64)> = BTreeMap::new();
    let mut weighed: BTreeMap<Species, (i64, i64)> = BTreeMap::new();
    for line in &input.lines {
        let (n, detail) = (line.n, line.detail.as_str());
        match line.measure {
            Measure::Pulled => {
                let (reason, used_for) = detail.split_once('/').unwrap_or((detail, ""));
                pulled.eggs += n;
                *pulled.by_reason.entry(reason.into()).or_default() += n;
                *pulled.by_use.entry(used_for.into()).or_default() += n;
            }
            Measure::Washed => *washed.entry(detail.into()).or_default() += n,
            Measure::Candled => *candled.entry(detail.into()).or_default() += n,
            Measure::Cartoned => cartoned.entry(carton_key(line)).or_default().1 += n,
            Measure::Cartons => cartoned.entry(carton_key(line)).or_default().0 += n,
            Measure::Out => *out.eggs.entry(detail.into()).or_default() += n,
            Measure::OutCartons => *out.cartons.entry(detail.into()).or_default() += n,
            Measure::Unaccounted => *unaccounted.entry(line.species).or_default() += n,
            Measure::Weighed => weighed.entry(line.species).or_default().0 += n,
            Measure::Centigrams => weighed.entry(line.species).or_default().1 += n,
            Measure::Rounds | Measure::Gathered | Measure::FloorLaid => {}
        }
    }
    Sheet {
        from: input.from,
        to: input.to,
        gathered: gathered(input),
        pulled,
        washed,
        candled,
        cartoned: cartoned
            .into_iter()
            .map(
                |((species, size, eggs_per_carton), (cartons, eggs))| Cartoned {
                    species,
                    size,
                    eggs_per_carton,
                    cartons,
                    eggs,
                },
            )
            .collect(),
        out,
        unaccounted,
        mean_grams: weighed
            .into_iter()
            .filter(|(_, (eggs, _))| *eggs > 0)
            .map(|(species, (eggs, cg))| (species, (cg as f64 / eggs as f64).round() / 100.0))
            .collect(),
        on_hand: on_hand(&input.on_hand),
    }
}

fn carton_key(line: &Line) -> (Species, String, u32) {
    let (capacity, size) = line.detail.split_once('/').unwrap_or(("0", ""));
    (
        line.species,
        size.to_string(),
        capacity.parse().unwrap_or(0),
    )
}

fn gathered(input: &SheetInput) -> Gathered {
    #[derive(Default)]
    struct Row {
        eggs: i64,
        floor_laid: i64,
        rounds: i64,
        by_day: BTreeMap<NaiveDate, (i64, i64)>,
    }
    let mut all = Gathered::default();
    let mut flocks: BTreeMap<(Id, Species), Row> = BTreeMap::new();
    for line in &input.lines {
        let Some(coop) = line.coop else { continue };
        if !matches!(
            line.measure,
            Measure::Rounds | Measure::Gathered | Measure::FloorLaid
        ) {
            continue;
        }
        let flock = flocks.entry((coop, line.species)).or_default();
        let day = flock.by_day.entry(line.day).or_default();
        match line.measure {
            Measure::Rounds => {
                flock.rounds += line.n;
                day.0 += line.n;
                // A round that found nothing is a zero, not nothing.
                all.by_species.entry(line.species).or_default();
                let person = line.by.map(|id| name(&input.names, id)).unwrap_or_default();
                all.by_person.entry(person).or_default();
            }
            Measure::FloorLaid => {
                flock.floor_laid += line.n;
                all.floor_laid += line.n;
            }
            _ => {
                flock.eggs += line.n;
                day.1 += line.n;
                all.eggs += line.n;
                *all.by_species.entry(line.species).or_default() += line.n;
                let person = line.by.map(|id| name(&input.names, id)).unwrap_or_default();
                *all.by_person.entry(person).or_default() += line.n;
            }
        }
    }
    let mut expected: BTreeSet<(Id, Species)> = flocks.keys().copied().collect();
    expected.extend(
        input
            .flocks
            .iter()
            .filter(|f| due_days(input, f) > 0)
            .map(|f| (f.coop, f.species)),
    );
    all.by_coop = expected
        .into_iter()
        .map(|(coop, species)| {
            let empty = Row::default();
            let flock = flocks.get(&(coop, species)).unwrap_or(&empty);
            let known = flock
                .by_day
                .values()
                .filter(|(rounds, _)| *rounds > 0)
                .count() as u32;
            let zero = flock
                .by_day
                .values()
                .filter(|(r, eggs)| *r > 0 && *eggs == 0)
                .count();
            let due = input
                .flocks
                .iter()
                .find(|f| (f.coop, f.species) == (coop, species))
                .map_or(known, |f| due_days(input, f));
            CoopRow {
                coop,
                name: name(&input.names, coop),
                species,
                eggs: (known > 0).then_some(flock.eggs),
                floor_laid: flock.floor_laid,
                rounds: flock.rounds,
                days: Days {
                    known,
                    zero: zero as u32,
                    unknown: due.saturating_sub(known),
                },
            }
        })
        .collect();
    all.by_coop
        .sort_by(|a, b| (&a.name, a.species, a.coop).cmp(&(&b.name, b.species, b.coop)));
    all
}

/// How many days of the span a flock was there to be gathered from.
fn due_days(input: &SheetInput, flock: &Flock) -> u32 {
    let from = input.from.max(flock.first);
    let to = flock.last.map_or(input.to, |last| input.to.min(last));
    let past = to.checked_add_days(DayStep::new(1)).unwrap_or(to);
    u32::try_from((past - from).num_days()).unwrap_or(0)
}

fn name(names: &Names, id: Id) -> String {
    names
        .get(&id)
        .cloned()
        .unwrap_or_else(|| format!("#{}", id.short()))
}

/// Eggs by station and species, from balances by place and lot.
pub fn on_hand(balances: &[(Place, Lot, i64)]) -> Vec<OnHand> {
    let mut all: BTreeMap<(Place, Species), BTreeMap<Lot, i64>> = BTreeMap::new();
    for (place, lot, n) in balances {
        if place.station().is_some() && *n != 0 {
            *all.entry((*place, lot.species))
                .or_default()
                .entry(*lot)
                .or_default() += n;
        }
    }
    all.into_iter()
        .map(|((station, species), lots)| OnHand {
            station,
            species,
            eggs: lots.values().sum(),
            lots,
        })
        .collect()
}
