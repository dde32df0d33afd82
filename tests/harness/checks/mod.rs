//! Figures from outside the project beside what the code computes, one row each.

mod boundary;
mod cartons;
mod dates;
mod dew;
mod heat;
mod labels;
mod page;
mod quality;
mod rates;
mod sizes;
mod tolerances;
mod units;
mod wash;

use serde::Serialize;

pub use page::{json, markdown, table};

/// Where an expected value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Kind {
    /// A published text, table, worked example or library, named in the row.
    #[serde(rename = "published")]
    Published,
    /// A habit of the trade; no publication is known.
    #[serde(rename = "common practice")]
    CommonPractice,
    /// Known from a cited text that was not read again when the row was written.
    #[serde(rename = "memory")]
    Memory,
}

/// One figure from outside beside ours.
#[derive(Debug, Clone, Serialize)]
pub struct Check {
    /// What is checked, in words.
    pub name: String,
    /// The text, table or library that the expected value comes from.
    pub source: String,
    /// How sure that source is.
    pub kind: Kind,
    /// The value from outside.
    pub expected: f64,
    /// The largest difference that counts as equal.
    pub tolerance: f64,
    /// What the code computes, now.
    pub got: f64,
    /// Whether the two agree within the tolerance.
    pub ok: bool,
}

impl Check {
    /// A row; `ok` follows from the other values.
    pub fn new(
        name: impl Into<String>,
        source: impl Into<String>,
        kind: Kind,
        expected: f64,
        tolerance: f64,
        got: f64,
    ) -> Check {
        let ok = (expected - got).abs() <= tolerance;
        Check {
            name: name.into(),
            source: source.into(),
            kind,
            expected,
            tolerance,
            got,
            ok,
        }
    }
}

/// Every row of every subject, in the order of the page. A new subject is one more line here.
pub fn all() -> Vec<Check> {
    [
        units::rows(),
        wash::rows(),
        dew::rows(),
        heat::rows(),
        dates::rows(),
        sizes::rows(),
        quality::rows(),
        tolerances::rows(),
        labels::rows(),
        cartons::rows(),
        rates::rows(),
    ]
    .concat()
}
