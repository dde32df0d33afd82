use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveTime};
use serde_json::Value;

use super::table::{Table, TableRow};
use super::{LogColumn, LogPlan, RowError, WeightUnit, dates, ids};
use crate::record::{Draft, Fields, Id, Instant, InvalidRecord, Kind, Lot, Zone};
use crate::trade::Species;
use crate::trade::units::Grams;

/// A coop in use.
#[derive(Debug, Clone)]
pub struct Coop {
    /// Its id.
    pub id: Id,
    /// Its name.
    pub name: String,
    /// The birds in it.
    pub species: Vec<Species>,
}

/// What a household's log says, as drafts.
#[derive(Debug, Default)]
pub struct FromLog {
    /// Rows below the heading, empty lines aside.
    pub read: usize,
    /// Rows without any figure.
    pub empty: usize,
    /// Coops to be added, each with the first row that names it.
    pub coops: Vec<(usize, Id, Draft)>,
    /// The records of each row, with ids that follow from farm and content.
    pub rows: BTreeMap<usize, Vec<(Id, Draft)>>,
    /// Rows that cannot be read.
    pub errors: Vec<RowError>,
}

/// A row as it was read, nothing looked up yet.
struct Raw {
    row: usize,
    day: NaiveDate,
    time: Option<NaiveTime>,
    coop: Option<String>,
    species: Option<Species>,
    eggs: Option<u32>,
    weights: Vec<f64>,
    birds: Option<u32>,
    note: Option<String>,
}

/// A row whose coop, species and moment are known.
struct Placed {
    raw: Raw,
    at: Instant,
    coop: Id,
    species: Species,
}

/// Reads a household's log. Rows that name the same coop, day and count twice are two rounds; a day
/// without a row, or with an empty cell, stays unknown.
///
/// # Errors
/// Only where the file as a whole cannot be read or lacks a column of the map; a row that cannot be
/// read is named in [`FromLog::errors`].
pub fn from_log(
    bytes: &[u8],
    plan: &LogPlan,
    farm: Id,
    zone: Zone,
    coops: &[Coop],
) -> Result<FromLog, InvalidRecord> {
    let wanted: Vec<&str> = plan.map.0.values().map(String::as_str).collect();
    let table = Table::open(bytes, &wanted)?;
    let mut places = BTreeMap::new();
    for (field, name) in &plan.map.0 {
        let place = table.column(name).ok_or_else(|| {
            let allowed = format!("allowed are the columns {}", table.heading.join(", "));
            InvalidRecord::new("map", format!("{name:?}"), allowed)
        })?;
        places.insert(*field, place);
    }
    let rows = table.rows();
    let cells = rows
        .iter()
        .filter_map(|row| row.cell(places[&LogColumn::Date]).ok().flatten());
    let order = dates::settle(plan.dates, cells);
    let reading = Reading {
        plan,
        places,
        order,
        decimal_comma: table.separator != b',',
        columns: table.heading.len(),
    };
    let mut log = FromLog {
        read: rows.len(),
        ..FromLog::default()
    };
    let mut raws = Vec::new();
    for (n, row) in rows.iter().enumerate() {
        let read = if n + 1 == rows.len() && table.never_closed(row) {
            Err("a quotation mark is never closed".to_string())
        } else {
            reading.row(row)
        };
        match read {
            Ok(Some(raw)) => raws.push(raw),
            Ok(None) => log.empty += 1,
            Err(why) => log.errors.push(RowError { row: row.row, why }),
        }
    }
    let mut flocks = Flocks::new(plan, farm, zone, coops, &raws);
    let mut placed = Vec::new();
    for raw in raws {
        let row = raw.row;
        match flocks.place(raw) {
            Ok(one) => placed.push(one),
            Err(why) => log.errors.push(RowError { row, why }),
        }
    }
    log.coops = flocks.added();
    log.rows = drafts(farm, placed);
    log.errors.sort();
    Ok(log)
}

struct Reading<'a> {
    plan: &'a LogPlan,
    places: BTreeMap<LogColumn, usize>,
    order: super::DateOrder,
    decimal_comma: bool,
    columns: usize,
}

impl Reading<'_> {
    /// One row; nothing where it holds no figure.
    fn row(&self, row: &TableRow) -> Result<Option<Raw>, String> {
        let more = (self.columns..row.len()).any(|n| !matches!(row.cell(n), Ok(None)));
        if more {
            return Err(format!(
                "it has {} cells, the heading {}; a cell with the separator in it needs quotation \
                 marks",
                row.len(),
                self.columns
            ));
        }
        let cell = |column| match self.places.get(&column) {
            Some(place) => row.cell(*place),
            None => Ok(None),
        };
        let eggs = cell(LogColumn::Eggs)?
            .map(|t| whole("eggs", t))
            .transpose()?;
        let birds = cell(LogColumn::Birds)?
            .map(|t| whole("birds", t))
            .transpose()?;
        let weights = match cell(LogColumn::Weights)? {
            Some(text) => self.weights(text)?,
            None => Vec::new(),
        };
        let date = cell(LogColumn::Date)?;
        if eggs.is_none() && birds.is_none() && weights.is_empty() {
            // A line that only names a day, or nothing at all: the day stays unknown.
            date.map(|d| dates::read(d, self.order)).transpose()?;
            return Ok(None);
        }
        let (day, time) = dates::read(date.ok_or("the date is missing")?, self.order)?;
        let time = match cell(LogColumn::Time)? {
            Some(text) => Some(dates::clock(text)?),
            None => time,
        };
        let species = match cell(LogColumn::Species)? {
            Some(text) => Some(species(text)?),
            None => self.plan.species,
        };
        Ok(Some(Raw {
            row: row.row,
            day,
            time,
            coop: cell(LogColumn::Coop)?
                .or(self.plan.coop.as_deref())
                .map(str::to_string),
            species,
            eggs,
            weights,
            birds,
            note: cell(LogColumn::Note)?.map(str::to_string),
        }))
    }

    /// Weights parted by semicolons or blanks. A comma is a decimal comma only where it does not
    /// part the columns, so that `58,60` is never taken for one egg of 58.6 g.
    fn weights(&self, text: &str) -> Result<Vec<f64>, String> {
        let words = text.split([';', ' ', '\t', '\n', '\r']);
        words
            .map(|word| word.trim_end_matches(','))
            .filter(|word| !word.is_empty())
            .map(|word| self.weight(word))
            .collect()
    }

    fn weight(&self, word: &str) -> Result<f64, String> {
        let wrong = || {
            format!(
                "weight {word:?} is not allowed; allowed are weights such as 58.5, parted by \
                 semicolons or blanks"
            )
        };
        let lower = word.to_lowercase();
        let (number, unit) = match (lower.strip_suffix("oz"), lower.strip_suffix('g')) {
            (Some(number), _) => (number, WeightUnit::Ounces),
            (_, Some(number)) => (number, WeightUnit::Grams),
            _ => (lower.as_str(), self.plan.unit.unwrap_or(WeightUnit::Grams)),
        };
        let number = match number.split_once(',') {
            Some((whole, part)) if self.decimal_comma => format!("{whole}.{part}"),
            Some(_) => return Err(wrong()),
            None => number.to_string(),
        };
        let plain = number.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        let n: f64 = number.parse().ok().filter(|_| plain).ok_or_else(wrong)?;
        let grams = match unit {
            WeightUnit::Grams => n,
            WeightUnit::Ounces => Grams::from_ounces(n).0,
        };
        // The egg of a quail has about 10 g; less is a slip, or another unit.
        if !(5.0..=500.0).contains(&grams) {
            return Err(format!(
                "weight {word:?} is not allowed; allowed are 5 to 500 g an egg, or ounces that are \
                 said to be such"
            ));
        }
        Ok((grams * 100.0).round() / 100.0)
    }
}

fn whole(what: &str, text: &str) -> Result<u32, String> {
    // Spreadsheets write whole numbers as 12.0 at times.
    let digits = text.strip_suffix(".0").unwrap_or(text);
    let plain = digits.bytes().all(|b| b.is_ascii_digit());
    digits
        .parse()
        .ok()
        .filter(|_| plain)
        .ok_or_else(|| format!("{what} {text:?} is not allowed; allowed are whole numbers from 0"))
}

fn species(text: &str) -> Result<Species, String> {
    let word = text.to_lowercase();
    let one = match word.as_str() {
        "chicken" | "chickens" => "hen",
        "geese" => "goose",
        other => other.strip_suffix('s').unwrap_or(other),
    };
    Species::from_code(one).ok_or_else(|| {
        let known = Species::ALL.map(Species::code).join(", ");
        format!("species {text:?} is not known; allowed are {known}")
    })
}

/// The flocks of the farm, and those that the log adds.
struct Flocks<'a> {
    zone: Zone,
    known: &'a [Coop],
    fresh: BTreeMap<String, Fresh>,
}

/// A coop that the farm does not know.
struct Fresh {
    id: Id,
    name: String,
    row: usize,
    at: Instant,
    species: Vec<Species>,
}

const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

impl<'a> Flocks<'a> {
    /// With `new_coops`, a coop begins on the first day that the log has of it.
    fn new(plan: &'a LogPlan, farm: Id, zone: Zone, known: &'a [Coop], raws: &[Raw]) -> Flocks<'a> {
        let mut fresh = BTreeMap::new();
        for raw in raws.iter().filter(|_| plan.new_coops) {
            let Some(name) = &raw.coop else { continue };
            let key = name.to_lowercase();
            if known.iter().any(|coop| coop.name.to_lowercase() == key) {
                continue;
            }
            let Some(at) = zone.moment(raw.day, NOON) else {
                continue;
            };
            let coop = fresh.entry(key).or_insert_with(|| Fresh {
                id: farm,
                name: name.clone(),
                row: raw.row,
                at,
                species: Vec::new(),
            });
            coop.at = coop.at.min(at);
        }
        for (key, coop) in &mut fresh {
            let mut fields = Fields::new();
            fields.insert("name".into(), key.as_str().into());
            coop.id = ids::of_row(farm, Kind::Coop.code(), coop.at, &fields, 0);
        }
        Flocks { zone, known, fresh }
    }

    fn place(&mut self, raw: Raw) -> Result<Placed, String> {
        let time = raw.time.unwrap_or(NOON);
        let at = self
            .zone
            .moment(raw.day, time)
            .ok_or_else(|| format!("the clocks in {} skip {time} on {}", self.zone, raw.day))?;
        let names = || {
            let mut names: Vec<&str> = self.known.iter().map(|c| c.name.as_str()).collect();
            names.sort_unstable();
            match names.is_empty() {
                true => "the farm knows none yet".to_string(),
                false => format!("the farm knows {}", names.join(", ")),
            }
        };
        let name = match (&raw.coop, self.known) {
            (Some(name), _) => name.clone(),
            (None, [only]) => only.name.clone(),
            (None, _) => return Err(format!("no coop is named; {}", names())),
        };
        let key = name.to_lowercase();
        let found: Vec<&Coop> = self
            .known
            .iter()
            .filter(|coop| coop.name.to_lowercase() == key)
            .collect();
        let (coop, species) = match found.as_slice() {
            [coop] => {
                let held: Vec<_> = coop.species.iter().map(|s| s.code()).collect();
                let held = held.join(" and ");
                let species = match (raw.species, coop.species.as_slice()) {
                    (Some(species), all) if all.contains(&species) => species,
                    (Some(species), _) => {
                        return Err(format!(
                            "species {:?} is not allowed; coop {} holds {held}",
                            species.code(),
                            coop.name
                        ));
                    }
                    (None, [only]) => *only,
                    (None, _) => {
                        return Err(format!(
                            "no species is named; coop {} holds {held}",
                            coop.name
                        ));
                    }
                };
                (coop.id, species)
            }
            [] => {
                let Some(coop) = self.fresh.get_mut(&key) else {
                    return Err(format!("coop {name:?} is not known; {}", names()));
                };
                let species = raw.species.ok_or_else(|| {
                    format!(
                        "no species is named, and coop {name:?} is new: say which birds it holds"
                    )
                })?;
                if !coop.species.contains(&species) {
                    coop.species.push(species);
                }
                (coop.id, species)
            }
            more => return Err(format!("{} coops are called {name:?}", more.len())),
        };
        Ok(Placed {
            raw,
            at,
            coop,
            species,
        })
    }

    /// The coops that rows were placed in.
    fn added(&self) -> Vec<(usize, Id, Draft)> {
        let used = self.fresh.values().filter(|coop| !coop.species.is_empty());
        used.map(|coop| {
            let mut species: Vec<&str> = coop.species.iter().map(|s| s.code()).collect();
            species.sort_unstable();
            let draft = Draft::new(Kind::Coop)
                .with("name", coop.name.clone())
                .with(
                    "species",
                    species.into_iter().map(Value::from).collect::<Value>(),
                )
                .at(coop.at);
            (coop.row, coop.id, draft)
        })
        .collect()
    }
}

/// The records of each row.
fn drafts(farm: Id, placed: Vec<Placed>) -> BTreeMap<usize, Vec<(Id, Draft)>> {
    let mut said: BTreeMap<String, u32> = BTreeMap::new();
    let mut named = |at: Instant, draft: Draft| {
        let key = format!("{at} {} {:?}", draft.kind, draft.fields);
        let before = said.entry(key).or_default();
        let id = ids::of_row(farm, &draft.kind, at, &draft.fields, *before);
        *before += 1;
        (id, draft.at(at))
    };
    let changed = headcounts(&placed);
    let mut rows: BTreeMap<usize, Vec<(Id, Draft)>> = BTreeMap::new();
    for (
        n,
        Placed {
            raw,
            at,
            coop,
            species,
        },
    ) in placed.into_iter().enumerate()
    {
        let mut all = Vec::new();
        let flock = |kind: Kind| {
            Draft::new(kind)
                .with("coop", coop.to_string())
                .with("species", species.code())
        };
        if let Some(eggs) = raw.eggs {
            all.push((at, flock(Kind::Gather).with("count", eggs)));
        }
        if !raw.weights.is_empty() {
            let lot = Lot {
                day: raw.day,
                species,
                coop: Some(coop),
            };
            let draft = Draft::new(Kind::Weigh).with("lot", lot.to_string()).with(
                "grams",
                raw.weights
                    .iter()
                    .map(|g| Value::from(*g))
                    .collect::<Value>(),
            );
            all.push((at, draft));
        }
        if let (Some(birds), Some(at)) = (raw.birds, changed.get(&n)) {
            all.push((*at, flock(Kind::Headcount).with("birds", birds)));
        }
        if let (Some(note), Some((_, first))) = (raw.note, all.first_mut()) {
            first.fields.insert("note".into(), note.into());
        }
        let all = all
            .into_iter()
            .map(|(at, draft)| named(at, draft))
            .collect();
        rows.insert(raw.row, all);
    }
    rows
}

/// The rows, by their place, whose number of birds is another than the one before it in time, each
/// with its moment. A household writes the same number on every line; one headcount says it as well.
/// Two of one moment stand a millisecond apart, in the order of the file.
fn headcounts(placed: &[Placed]) -> BTreeMap<usize, Instant> {
    let mut order: Vec<usize> = (0..placed.len()).collect();
    order.sort_by_key(|n| (placed[*n].at, *n));
    let mut last: BTreeMap<(Id, Species), (u32, Instant)> = BTreeMap::new();
    let mut changed = BTreeMap::new();
    for n in order {
        let row = &placed[n];
        let Some(birds) = row.raw.birds else { continue };
        let flock = (row.coop, row.species);
        let at = match last.get(&flock) {
            Some((before, _)) if *before == birds => continue,
            Some((_, before)) if *before >= row.at => before.plus_ms(1),
            _ => row.at,
        };
        last.insert(flock, (birds, at));
        changed.insert(n, at);
    }
    changed
}
