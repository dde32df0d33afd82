use chrono::NaiveDate;
use serde_json::Value;

use crate::book::Names;
use crate::record::{COMMON, FieldType, Id, Instant, Kind, Lot, Zone, spec};
use crate::trade::units::{Celsius, Grams};

/// The units and money that a farm shows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Units {
    /// Temperatures in °F too.
    pub fahrenheit: bool,
    /// Weights in ounces too.
    pub ounces: bool,
    /// The currency, if the farm says one.
    pub currency: String,
}

/// How values read in a record book: as measured and kept, in the farm's unit beside it.
pub(super) struct Shown<'a> {
    pub(super) zone: Zone,
    pub(super) names: &'a Names,
    pub(super) units: &'a Units,
}

impl Shown<'_> {
    /// The name behind an id, or the end of one that has none here.
    pub(super) fn name(&self, id: Id) -> String {
        let name = self.names.get(&id).cloned();
        name.unwrap_or_else(|| format!("#{}", id.short()))
    }

    /// A moment in the farm's zone, with its offset: `2026-11-25 07:30 +00:00`.
    pub(super) fn when(&self, at: Instant) -> String {
        let local = self.zone.local(at);
        let (Some(day), Some(time)) = (local.get(..10), local.get(11..16)) else {
            return local;
        };
        match local.get(19..) {
            Some("Z") | None => format!("{day} {time} +00:00"),
            Some(offset) => format!("{day} {time} {offset}"),
        }
    }

    /// A field's value in words.
    pub(super) fn field(&self, kind: Kind, name: &str, value: &Value) -> String {
        let ty = spec(kind)
            .iter()
            .chain(COMMON)
            .find(|field| field.name == name)
            .map(|field| field.ty);
        match ty {
            Some(ty) => self.value(&ty, value),
            None if name == "at" => self.value(&FieldType::Instant, value),
            None => plain(value),
        }
    }

    fn value(&self, ty: &FieldType, value: &Value) -> String {
        match (ty, value) {
            (_, Value::Null) => "nothing".into(),
            (FieldType::Ref(_) | FieldType::AnyRecord, Value::String(text)) => self.id(text),
            (FieldType::Temperature(..), Value::Number(n)) => {
                let celsius = n.as_f64().unwrap_or_default();
                match self.units.fahrenheit {
                    true => format!("{n} °C ({:.1} °F)", Celsius(celsius).fahrenheit()),
                    false => format!("{n} °C"),
                }
            }
            (FieldType::Number(_, _, _, unit), Value::Number(n)) => format!("{n} {unit}"),
            (FieldType::Weights, Value::Array(all)) => {
                let each: Vec<String> = all
                    .iter()
                    .filter_map(Value::as_f64)
                    .map(|g| self.mass(g))
                    .collect();
                each.join(", ")
            }
            (FieldType::Money, value) => format!("{} {}", plain(value), self.units.currency)
                .trim()
                .into(),
            (FieldType::Flag, Value::Bool(yes)) => if *yes { "yes" } else { "no" }.into(),
            (FieldType::Lot, Value::String(text)) => self.lot(text),
            (FieldType::Parts, Value::Object(parts)) => {
                let all: Vec<String> = parts
                    .iter()
                    .map(|(lot, n)| format!("{n} of {}", self.lot(lot)))
                    .collect();
                all.join(", ")
            }
            (FieldType::Instant, Value::String(text)) => match text.parse() {
                Ok(at) => self.when(at),
                Err(_) => text.clone(),
            },
            (_, value) => plain(value),
        }
    }

    fn mass(&self, grams: f64) -> String {
        match self.units.ounces {
            true => format!("{grams} g ({:.2} oz)", Grams(grams).ounces()),
            false => format!("{grams} g"),
        }
    }

    fn id(&self, text: &str) -> String {
        text.parse()
            .map_or_else(|_| text.to_string(), |id| self.name(id))
    }

    fn lot(&self, text: &str) -> String {
        match text.parse::<Lot>() {
            Ok(lot) => {
                let coop = lot.coop.map(|id| format!(" of {}", self.name(id)));
                format!(
                    "{} {}{}",
                    lot.day,
                    lot.species.code(),
                    coop.unwrap_or_default()
                )
            }
            Err(_) => text.to_string(),
        }
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.replace('_', " "),
        Value::Array(all) => all.iter().map(plain).collect::<Vec<_>>().join(", "),
        Value::Object(map) => {
            let all = map
                .iter()
                .map(|(name, value)| format!("{} {}", label(name), plain(value)));
            all.collect::<Vec<_>>().join(", ")
        }
        other => other.to_string(),
    }
}

/// A field's name as words, without the unit that its value shows.
pub(super) fn label(name: &str) -> String {
    let name = ["_c", "_mm"]
        .iter()
        .find_map(|unit| name.strip_suffix(unit))
        .unwrap_or(name);
    name.replace('_', " ")
}

/// Days in words, runs of them together: `2026-11-01, 2026-11-05 to 2026-11-09`. At most 12 runs.
pub(super) fn runs(days: &[NaiveDate]) -> String {
    let mut runs: Vec<(NaiveDate, NaiveDate)> = Vec::new();
    for day in days {
        match runs.last_mut() {
            Some((_, last)) if last.succ_opt() == Some(*day) => *last = *day,
            _ => runs.push((*day, *day)),
        }
    }
    let more = runs.len().saturating_sub(12);
    let mut words: Vec<String> = runs
        .iter()
        .take(12)
        .map(|(a, b)| {
            if a == b {
                a.to_string()
            } else {
                format!("{a} to {b}")
            }
        })
        .collect();
    if more > 0 {
        words.push(format!("and {more} more"));
    }
    words.join(", ")
}
