use std::collections::BTreeSet;

use clap::builder::PossibleValuesParser;
use pointdown_core::farm::{ErrorKind, Farm};
use pointdown_core::record::{
    COMMON, FieldSpec, FieldType, Fields, Id, Instant, Kind, Lot, Parts, Station, spec,
};
use pointdown_core::trade::Species;
use serde_json::{Map, Value};

use crate::fail::{Failure, invalid, missing};
use crate::moments::Calendar;

/// What `field=value` words on a command line say.
#[derive(Debug, Default)]
pub(crate) struct Input {
    pub(crate) fields: Fields,
    /// `at=`, where it was given.
    pub(crate) at: Option<Instant>,
    /// Where and which lots `parts=oldest:...` chose.
    pub(crate) chosen: Option<(Station, Parts)>,
}

/// Turns the shorthand of a command line into what the core reads; everything else is left as it
/// is, so that the core's own check names field, value and what is allowed.
pub(crate) struct Reader<'a> {
    pub(crate) farm: &'a Farm,
    pub(crate) calendar: Calendar,
    pub(crate) kind: Kind,
    /// An amendment: an empty value takes a field away.
    pub(crate) amends: bool,
}

/// Splits `field=value` words; a field may stand only once.
pub(crate) fn pairs(words: &[String]) -> Result<Vec<(&str, &str)>, Failure> {
    let mut seen = BTreeSet::new();
    words
        .iter()
        .map(|word| match word.split_once('=') {
            Some((name, value)) if !name.is_empty() => {
                if seen.insert(name) {
                    Ok((name, value))
                } else {
                    Err(invalid(name, value, "allowed is each field once"))
                }
            }
            _ => Err(invalid(
                "field",
                word,
                "allowed are words such as count=12, with quotes around spaces: note='two cracked'",
            )),
        })
        .collect()
}

/// Fields as they stand, for commands that need no farm yet.
pub(crate) fn plain(words: &[String]) -> Result<Fields, Failure> {
    let pairs = pairs(words)?;
    Ok(pairs
        .into_iter()
        .map(|(name, value)| (name.to_string(), value.into()))
        .collect())
}

/// The field of a kind by name.
pub(crate) fn field(kind: Kind, name: &str) -> Option<&'static FieldSpec> {
    spec(kind).iter().chain(COMMON).find(|f| f.name == name)
}

impl Reader<'_> {
    pub(crate) fn read(&self, words: &[String]) -> Result<Input, Failure> {
        let pairs = pairs(words)?;
        let mut input = Input::default();
        for (name, text) in &pairs {
            if *name == "at" {
                input.at = Some(self.calendar.moment(text)?);
                continue;
            }
            let value = match field(self.kind, name) {
                Some(_) if self.amends && text.is_empty() => Value::Null,
                Some(spec) if matches!(spec.ty, FieldType::Parts) && text.contains("oldest:") => {
                    let station = self.takes_from(&pairs)?;
                    let parts = self.oldest(name, text, station)?;
                    let value = parts_value(&parts);
                    input.chosen = Some((station, parts));
                    value
                }
                Some(spec) => self.value(spec, text)?,
                None => (*text).into(),
            };
            input.fields.insert((*name).to_string(), value);
        }
        Ok(input)
    }

    fn value(&self, spec: &FieldSpec, text: &str) -> Result<Value, Failure> {
        Ok(match spec.ty {
            FieldType::Ref(kind) if kind.is_setup() => self.named(kind, text)?.into(),
            FieldType::Day => match self.calendar.word(text.trim()) {
                Some(day) => day.to_string().into(),
                None => text.into(),
            },
            FieldType::Lot => self.lot(text)?.into(),
            FieldType::Parts => {
                let parts: Result<Vec<_>, Failure> = text
                    .split(',')
                    .map(|part| match part.rsplit_once('=') {
                        Some((lot, eggs)) => Ok(format!("{}={eggs}", self.lot(lot)?)),
                        None => Ok(part.to_string()),
                    })
                    .collect();
                parts?.join(",").into()
            }
            FieldType::Temperature(..) => {
                // A kitchen that thinks in Fahrenheit must not log 90 °C by leaving out a letter.
                if text.trim().parse::<f64>().is_ok() && is_fahrenheit(self.farm)? {
                    return Err(invalid(
                        spec.name,
                        text,
                        "this farm shows °F, so say the unit: allowed are readings such as 90F or 32C",
                    ));
                }
                text.into()
            }
            FieldType::Values => serde_json::from_str::<Map<String, Value>>(text)
                .map(Value::Object)
                .map_err(|_| {
                    invalid(
                        spec.name,
                        text,
                        "allowed is a JSON object such as {\"count\":12}; `pointdown amend` is easier",
                    )
                })?,
            _ => text.into(),
        })
    }

    /// The id of a set-up record given by name, by id, or by the last characters of its id.
    fn named(&self, kind: Kind, text: &str) -> Result<String, Failure> {
        match self.farm.find(kind, text) {
            Ok(id) => Ok(id.to_string()),
            Err(e) if e.kind == ErrorKind::Invalid => {
                let by_id = self.farm.find_record(text).ok();
                let row = by_id.map(|id| self.farm.record(id)).transpose()?.flatten();
                Ok(match row.filter(|row| row.kind == kind.code()) {
                    Some(row) => row.id.to_string(),
                    None => text.to_string(),
                })
            }
            Err(e) => Err(e.into()),
        }
    }

    /// A lot with its day as a date and its coop as an id.
    pub(crate) fn lot(&self, text: &str) -> Result<String, Failure> {
        let mut words: Vec<String> = text.trim().splitn(3, '/').map(str::to_string).collect();
        if let Some(day) = words.first().and_then(|day| self.calendar.word(day)) {
            words[0] = day.to_string();
        }
        if let Some(coop) = words.get(2) {
            words[2] = self.named(Kind::Coop, coop)?;
        }
        Ok(words.join("/"))
    }

    /// The station that a record of this kind takes eggs from.
    fn takes_from(&self, pairs: &[(&str, &str)]) -> Result<Station, Failure> {
        if self.amends {
            return Err(invalid(
                "parts",
                "oldest",
                "an amendment names its lots, such as parts=2026-11-25/hen=12",
            ));
        }
        let name = match self.kind {
            Kind::Wash => return Ok(Station::Basket),
            Kind::Candle => return Ok(Station::Clean),
            Kind::Carton => "from",
            _ => "station",
        };
        match pairs.iter().find(|(field, _)| *field == name) {
            Some((_, code)) => Station::from_code(code).ok_or_else(|| {
                let allowed = Station::ALL.map(Station::code).join(", ");
                invalid(name, code, format!("allowed are {allowed}"))
            }),
            None if self.kind == Kind::Out => Ok(Station::Cartoned),
            None => Err(missing(
                name,
                "parts=oldest:... needs the station to take from",
            )),
        }
    }

    fn oldest(&self, field: &str, text: &str, station: Station) -> Result<Parts, Failure> {
        let mut all = Parts::default();
        for item in text.split(',') {
            let wrong = || {
                invalid(
                    field,
                    text,
                    "allowed is oldest:30/hen, each species once, or lots such as today/hen=12",
                )
            };
            let (eggs, species) = item
                .trim()
                .strip_prefix("oldest:")
                .and_then(|rest| rest.split_once('/'))
                .ok_or_else(wrong)?;
            let eggs: u32 = eggs.parse().map_err(|_| wrong())?;
            let species = Species::from_code(species).ok_or_else(wrong)?;
            if all.0.keys().any(|lot: &Lot| lot.species == species) {
                return Err(wrong());
            }
            let found = self
                .farm
                .oldest_first(station, species, eggs)
                .map_err(|e| match e.kind {
                    // The field to blame is the one that the person wrote.
                    ErrorKind::Invalid => {
                        let there = e.message.rsplit("; ").next().unwrap_or_default();
                        invalid(field, item, there)
                    }
                    _ => e.into(),
                })?;
            all.0.extend(found.0);
        }
        Ok(all)
    }
}

fn parts_value(parts: &Parts) -> Value {
    let lots = parts.0.iter();
    Value::Object(
        lots.map(|(lot, n)| (lot.to_string(), (*n).into()))
            .collect(),
    )
}

/// A set-up field of the farm, as text.
pub(crate) fn farm_field(farm: &Farm, name: &str) -> Result<Option<String>, Failure> {
    let row = farm.record(farm.id())?;
    Ok(row.and_then(|row| {
        row.fields
            .get(name)
            .and_then(Value::as_str)
            .map(str::to_string)
    }))
}

fn is_fahrenheit(farm: &Farm) -> Result<bool, Failure> {
    Ok(farm_field(farm, "temperature")?.as_deref() == Some("F"))
}

/// A person by name or id, or a new one of this name.
pub(crate) fn person(farm: &Farm, name: &str) -> Result<Id, Failure> {
    use pointdown_core::record::Draft;
    match farm.find(Kind::Person, name) {
        Ok(id) => Ok(id),
        Err(e) if e.kind == ErrorKind::Invalid => {
            Ok(farm.log(Draft::new(Kind::Person).with("name", name))?.id)
        }
        Err(e) => Err(e.into()),
    }
}

/// The kinds of record, as values of an argument.
pub(crate) fn kinds() -> PossibleValuesParser {
    PossibleValuesParser::new(Kind::ALL.iter().map(|k| k.code()))
}
