//! The review list worked out once more, the long way: from one plain list of all records and who
//! had seen what, on maps of text, with another time-zone library. It shares no code with the
//! program.

mod eggs;
mod lines;
mod said;

use std::collections::{BTreeMap, BTreeSet};

use pointdown_core::record::Id;
use serde_json::{Map, Value};

pub use eggs::Ledger;
pub use lines::{Line, list};
pub use said::Stands;

/// One record as it was written, and what its writer had.
#[derive(Debug, Clone)]
pub struct Fact {
    /// Its id.
    pub id: Id,
    /// The document it stands in.
    pub doc: String,
    /// What was written.
    pub fields: Map<String, Value>,
    /// Every record that was on the phone when it was written.
    pub seen: BTreeSet<Id>,
    /// When it was written by the writer's clock, seconds since 1970 UTC.
    pub made_s: i64,
    /// Whether a foreign program wrote it: it says itself what it had seen.
    pub foreign: bool,
}

/// All records by id.
pub type Facts = BTreeMap<Id, Fact>;

impl Fact {
    /// A field as text; empty where there is none.
    pub fn text(&self, name: &str) -> &str {
        text(&self.fields, name)
    }

    /// The record that an amendment or void speaks of.
    pub fn target(&self) -> Option<Id> {
        self.text("target").parse().ok()
    }

    /// Who wrote it.
    pub fn by(&self) -> Option<Id> {
        self.text("by").parse().ok()
    }

    /// Whether its writer had seen another record, as amendments and voids count it.
    pub fn knew(&self, other: Id) -> bool {
        if self.foreign {
            let over = self.fields.get("over").and_then(Value::as_array);
            return over.is_some_and(|all| all.iter().any(|id| *id == other.to_string()));
        }
        self.seen.contains(&other)
    }

    /// The time in its id.
    pub fn logged_at(&self) -> i64 {
        self.id.unix_ms().unwrap_or(0)
    }
}

/// A field as text; empty where there is none.
pub fn text<'a>(fields: &'a Map<String, Value>, name: &str) -> &'a str {
    fields.get(name).and_then(Value::as_str).unwrap_or("")
}

/// A field as a number; 0 where there is none.
pub fn number(fields: &Map<String, Value>, name: &str) -> i64 {
    fields.get(name).and_then(Value::as_i64).unwrap_or(0)
}

/// Lots and eggs.
pub fn parts(fields: &Map<String, Value>) -> Vec<(String, i64)> {
    let parts = fields.get("parts").and_then(Value::as_object);
    parts
        .into_iter()
        .flatten()
        .map(|(lot, n)| (lot.clone(), n.as_i64().unwrap_or(0)))
        .collect()
}
