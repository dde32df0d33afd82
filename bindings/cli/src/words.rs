use pointdown_core::book::Names;
use pointdown_core::farm::{Farm, Row};
use pointdown_core::record::{FieldType, Id, Kind, Lot, spec};
use pointdown_core::trade::units::{Celsius, Grams};
use serde_json::Value;

use crate::fail::Failure;
use crate::input::{farm_field, field};
use crate::moments::Calendar;

/// How records read to people: names for ids, the farm's own time and units.
pub(crate) struct Words {
    pub(crate) calendar: Calendar,
    names: Names,
    fahrenheit: bool,
    ounces: bool,
    currency: String,
}

impl Words {
    pub(crate) fn of(farm: &Farm) -> Result<Words, Failure> {
        Ok(Words {
            calendar: Calendar::of(farm)?,
            names: farm.names()?,
            fahrenheit: farm_field(farm, "temperature")?.as_deref() == Some("F"),
            ounces: farm_field(farm, "weight")?.as_deref() == Some("oz"),
            currency: farm_field(farm, "currency")?.unwrap_or_default(),
        })
    }

    /// The name of a set-up record, or the end of an id that has none.
    pub(crate) fn name(&self, id: Id) -> String {
        self.names
            .get(&id)
            .cloned()
            .unwrap_or_else(|| format!("#{}", id.short()))
    }

    /// Who a record is by.
    pub(crate) fn by(&self, row: &Row) -> String {
        match row.fields.get("by") {
            Some(id) => self.id(id),
            None => String::new(),
        }
    }

    fn id(&self, value: &Value) -> String {
        match value.as_str().map(str::parse) {
            Some(Ok(id)) => self.name(id),
            _ => plain(value),
        }
    }

    /// A lot with the coop's name where coops are kept apart.
    pub(crate) fn lot(&self, lot: &Lot) -> String {
        let coop = lot.coop.map(|id| format!("/{}", self.name(id)));
        let species = lot.species.code();
        format!("{}/{species}{}", lot.day, coop.unwrap_or_default())
    }

    fn lot_text(&self, text: &str) -> String {
        match text.parse() {
            Ok(lot) => self.lot(&lot),
            Err(_) => text.to_string(),
        }
    }

    /// A mass in the farm's unit.
    pub(crate) fn mass(&self, grams: f64) -> String {
        if self.ounces {
            format!("{:.2} oz", Grams(grams).ounces())
        } else {
            format!("{grams} g")
        }
    }

    /// A temperature in the farm's unit.
    pub(crate) fn temperature(&self, celsius: f64) -> String {
        if self.fahrenheit {
            format!("{:.1} °F", Celsius(celsius).fahrenheit())
        } else {
            format!("{celsius} °C")
        }
    }

    /// A value as people read it.
    pub(crate) fn value(&self, ty: &FieldType, value: &Value) -> String {
        match (ty, value) {
            (_, Value::Null) => "nothing".into(),
            (FieldType::Ref(kind), value) if kind.is_setup() => self.id(value),
            (FieldType::Ref(_) | FieldType::AnyRecord, value) => self.id(value),
            (FieldType::Temperature(..), Value::Number(n)) => {
                self.temperature(n.as_f64().unwrap_or_default())
            }
            (FieldType::Number(_, _, _, unit), Value::Number(n)) => format!("{n} {unit}"),
            (FieldType::Weights, Value::Array(all)) => {
                let grams = all.iter().filter_map(Value::as_f64);
                let shown: Vec<_> = grams.map(|g| self.mass(g)).collect();
                shown.join(", ")
            }
            (FieldType::Money, value) => {
                format!("{} {}", plain(value), self.currency).trim().into()
            }
            (FieldType::Flag, Value::Bool(yes)) => if *yes { "yes" } else { "no" }.into(),
            (FieldType::Lot, Value::String(lot)) => self.lot_text(lot),
            (FieldType::Parts, Value::Object(parts)) => {
                let shown: Vec<_> = parts
                    .iter()
                    .map(|(lot, n)| format!("{}={n}", self.lot_text(lot)))
                    .collect();
                shown.join(", ")
            }
            (FieldType::Instant, Value::String(at)) => match at.parse() {
                Ok(at) => self.calendar.shown(at),
                Err(_) => at.clone(),
            },
            (_, value) => plain(value),
        }
    }

    /// The value of a field of some record, by the field's name.
    pub(crate) fn field(&self, kind: Option<Kind>, name: &str, value: &Value) -> String {
        match kind.and_then(|kind| field(kind, name)) {
            Some(spec) => self.value(&spec.ty, value),
            None if name == "at" => self.value(&FieldType::Instant, value),
            None => plain(value),
        }
    }

    /// The fields of a record in one line.
    pub(crate) fn summary(&self, row: &Row) -> String {
        let Some(kind) = Kind::from_code(&row.kind) else {
            return "a kind of record that this version does not know".into();
        };
        let mut said = Vec::new();
        for spec in spec(kind) {
            let Some(value) = row.fields.get(spec.name) else {
                continue;
            };
            let shown = self.value(&spec.ty, value);
            // Counts and readings need their name; a coop, a lot or a way speaks for itself.
            match spec.ty {
                FieldType::Seen => {}
                FieldType::Values => said.push(self.new_values(value)),
                FieldType::Flag if *value == Value::Bool(true) => said.push(label(spec.name)),
                // `3 minutes`, not `minutes 3 minutes`.
                FieldType::Number(_, _, _, unit) if unit == spec.name => said.push(shown),
                FieldType::Count(..)
                | FieldType::Number(..)
                | FieldType::Temperature(..)
                | FieldType::Day
                | FieldType::Money
                | FieldType::Flag => said.push(format!("{} {shown}", label(spec.name))),
                _ => said.push(shown),
            }
        }
        let mut line = said.join(", ");
        if let Some(note) = row.fields.get("note") {
            line.push_str(&format!(" ({})", plain(note)));
        }
        line
    }

    fn new_values(&self, set: &Value) -> String {
        let Some(set) = set.as_object() else {
            return plain(set);
        };
        let said: Vec<_> = set
            .iter()
            .map(|(name, value)| match value {
                Value::String(text) if text.parse::<Id>().is_ok() => {
                    format!("{} {}", label(name), self.id(value))
                }
                _ => format!("{} {}", label(name), plain(value)),
            })
            .collect();
        said.join(", ")
    }
}

/// A field's name as words, without the unit that its value shows.
pub(crate) fn label(name: &str) -> String {
    let name = ["_c", "_mm"]
        .iter()
        .find_map(|unit| name.strip_suffix(unit))
        .unwrap_or(name);
    name.replace('_', " ")
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Null => "nothing".into(),
        Value::Array(all) => all.iter().map(plain).collect::<Vec<_>>().join(", "),
        Value::Object(map) => map
            .iter()
            .map(|(name, value)| format!("{name}={}", plain(value)))
            .collect::<Vec<_>>()
            .join(", "),
        other => other.to_string(),
    }
}
