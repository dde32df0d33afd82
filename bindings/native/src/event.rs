//! What people log, as types; rare fields go as JSON.

use std::collections::{BTreeMap, HashMap};

use pointdown_core::record;
use serde::{Serialize, Serializer};
use serde_json::Value;

use crate::{LotEggs, PointdownError, Species, Station};

/// A record as a person gives it, not checked yet.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Draft {
    /// What happened.
    pub event: Event,
    /// When, in milliseconds since 1970 UTC; now unless given.
    #[uniffi(default = None)]
    pub at_ms: Option<i64>,
    /// Who did it, by id or name; the person who writes on this device unless given.
    #[uniffi(default = None)]
    pub by: Option<String>,
    /// Anything worth knowing.
    #[uniffi(default = None)]
    pub note: Option<String>,
}

/// What happened. Coops, people, coolers and outlets may be given by id or by name; lots as in
/// `2026-11-25/hen`, days as `2026-11-25`.
#[derive(Debug, Clone, PartialEq, Serialize, uniffi::Enum)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Event {
    /// A collection round at one coop.
    Gather {
        /// Where.
        coop: String,
        /// Whose eggs.
        species: Species,
        /// Eggs gathered; 0 is a round that found none.
        count: u32,
        /// Of these, eggs not laid in a nest.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        floor_laid: Option<u32>,
    },
    /// Eggs pulled out of the flow.
    Cull {
        /// Where the eggs were.
        station: Station,
        /// Which lots, how many eggs.
        #[serde(serialize_with = "by_lot")]
        parts: Vec<LotEggs>,
        /// A defect's code, or another reason.
        reason: String,
        /// What became of them: home, feed, compost, discard or hatch.
        #[serde(rename = "use")]
        used_for: String,
        /// The carton run they were in.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        carton: Option<String>,
    },
    /// One cleaning batch; dry cleaning is one too.
    Wash {
        /// Which lots, how many eggs.
        #[serde(serialize_with = "by_lot")]
        parts: Vec<LotEggs>,
        /// With what: dry, spray, brush, cloth, ...
        means: String,
        /// Cleaning compound, as on its label.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        cleaner: Option<String>,
        /// Egg temperature before, °C.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        egg_c: Option<f64>,
        /// Water at the start, °C.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        water_start_c: Option<f64>,
        /// Water at the end, °C.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        water_end_c: Option<f64>,
        /// Rinse water, °C.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        rinse_c: Option<f64>,
        /// Available chlorine or equivalent, ppm.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        sanitiser_ppm: Option<u32>,
        /// Minutes in the water.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        minutes: Option<f64>,
        /// Whether the sink was cleaned first.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        sink_cleaned: Option<bool>,
    },
    /// Looking through the shell with a light.
    Candle {
        /// Which lots, how many eggs.
        #[serde(serialize_with = "by_lot")]
        parts: Vec<LotEggs>,
        /// How many of each quality.
        found: HashMap<String, u32>,
        /// Deepest air cell measured, mm.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        air_cell_mm: Option<f64>,
    },
    /// Single egg weights.
    Weigh {
        /// Which lot.
        lot: String,
        /// The weight of each egg, g.
        grams: Vec<f64>,
    },
    /// A run of cartons.
    Carton {
        /// Which lots, how many eggs.
        #[serde(serialize_with = "by_lot")]
        parts: Vec<LotEggs>,
        /// The station the eggs came from: basket or clean.
        #[serde(rename = "from")]
        from_station: Station,
        /// Whose eggs: one species to a carton, always.
        species: Species,
        /// Eggs in each carton.
        eggs_per_carton: u32,
        /// How many cartons.
        cartons: u32,
        /// The day of packing.
        packed: String,
        /// The date on the label.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        best_by: Option<String>,
        /// Weight class.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        size: Option<String>,
        /// Grade.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        grade: Option<String>,
        /// The code printed on the cartons.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        code: Option<String>,
    },
    /// Eggs leaving the farm, or coming back.
    Out {
        /// Sold, given, eaten or returned.
        way: String,
        /// Which lots, how many eggs.
        #[serde(serialize_with = "by_lot")]
        parts: Vec<LotEggs>,
        /// The carton run, unless the eggs went loose.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        carton: Option<String>,
        /// How many cartons of the run.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        cartons: Option<u32>,
        /// Where they stood; cartoned unless said.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        station: Option<Station>,
        /// The outlet they went to.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        outlet: Option<String>,
        /// Who got them.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        to: Option<String>,
        /// Paid for all of it, decimal, in the farm's currency.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        price: Option<String>,
    },
    /// What someone really found at a station: of a lot, or of a species.
    Recount {
        /// Where.
        station: Station,
        /// Eggs really found.
        counted: u32,
        /// Only this lot.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        lot: Option<String>,
        /// All lots of this species.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        species: Option<Species>,
    },
    /// A span of farm days whose eggs may not be sold.
    Hold {
        /// First day held.
        #[serde(rename = "from")]
        first: String,
        /// Medicine, illness, flood, test or other.
        cause: String,
        /// Last day held; open while absent.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        until: Option<String>,
        /// Only this coop.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        coop: Option<String>,
        /// Only this species.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        species: Option<Species>,
        /// Medicine or treatment, as on its label.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        given: Option<String>,
    },
    /// Laying birds in a coop.
    Headcount {
        /// Where.
        coop: String,
        /// Which birds.
        species: Species,
        /// How many.
        birds: u32,
    },
    /// The temperature of a cooler.
    Reading {
        /// Which cooler.
        cooler: String,
        /// Air in the cooler, °C.
        air_c: f64,
    },
    /// A place where birds lay.
    Coop {
        /// Its name.
        name: String,
        /// The birds in it.
        species: Vec<Species>,
    },
    /// Someone who logs.
    Person {
        /// The name.
        name: String,
    },
    /// A fridge or cold room.
    Cooler {
        /// Its name.
        name: String,
    },
    /// Where eggs go: a stall, a shop, a neighbour.
    Outlet {
        /// Its name.
        name: String,
        /// How to reach them on a bad day.
        #[uniffi(default = None)]
        #[serde(skip_serializing_if = "Option::is_none")]
        contact: Option<String>,
    },
    /// Any kind, feed and supplies among them, by its word and its fields as a JSON object, as the
    /// record schema has them; numbers may come as text, temperatures with a unit.
    #[serde(skip)]
    Other {
        /// The kind by its word.
        kind: String,
        /// The fields by name.
        fields_json: String,
    },
}

/// Lots as records have them: a map from lot to eggs. A lot given twice counts once for its sum; a
/// number that no count can have is left for the core to refuse.
fn by_lot<S: Serializer>(parts: &[LotEggs], to: S) -> Result<S::Ok, S::Error> {
    let mut map: BTreeMap<&str, i64> = BTreeMap::new();
    for part in parts {
        let eggs = map.entry(&part.lot).or_default();
        *eggs = eggs.saturating_add(part.eggs);
    }
    map.serialize(to)
}

impl TryFrom<Draft> for record::Draft {
    type Error = PointdownError;

    fn try_from(draft: Draft) -> Result<record::Draft, PointdownError> {
        let mut fields = match &draft.event {
            Event::Other { kind, fields_json } => {
                let mut fields = object("fields_json", fields_json)?;
                fields.insert("kind".into(), kind.as_str().into());
                fields
            }
            event => match serde_json::to_value(event) {
                Ok(Value::Object(fields)) => fields,
                // Only a weight that is no number cannot be written as JSON.
                _ => return Err(unreadable("event", "allowed are numbers, text and lists")),
            },
        };
        let kind = match fields.remove("kind") {
            Some(Value::String(kind)) => kind,
            _ => return Err(unreadable("kind", "allowed is the word of a kind")),
        };
        let common = [("by", draft.by), ("note", draft.note)];
        for (name, value) in common {
            if let Some(value) = value {
                fields.insert(name.into(), value.into());
            }
        }
        let at = draft.at_ms.map(record::Instant::from_ms);
        Ok(record::Draft { kind, at, fields })
    }
}

/// Reads text as a JSON object.
pub(crate) fn object(field: &str, text: &str) -> Result<record::Fields, PointdownError> {
    match serde_json::from_str(text) {
        Ok(Value::Object(fields)) => Ok(fields),
        _ => Err(unreadable(field, "allowed is a JSON object")),
    }
}

fn unreadable(field: &str, allowed: &str) -> PointdownError {
    record::InvalidRecord::new(field, "text that cannot be read", allowed).into()
}
