use std::collections::BTreeMap;

use super::flocks::{Flocks, drafts};
use super::raw::{Coop, Raw};
use super::table::{Table, TableRow};
use super::{LogColumn, LogPlan, RowError, WeightUnit, dates};
use crate::record::{Draft, Id, InvalidRecord, Zone};
use crate::trade::Species;
use crate::trade::units::Grams;

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
