//! What a log's rows are read into, and what they are held against.

use chrono::{NaiveDate, NaiveTime};

use crate::record::Id;
use crate::trade::Species;

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

/// A row as it was read, nothing looked up yet.
pub(super) struct Raw {
    pub(super) row: usize,
    pub(super) day: NaiveDate,
    pub(super) time: Option<NaiveTime>,
    pub(super) coop: Option<String>,
    pub(super) species: Option<Species>,
    pub(super) eggs: Option<u32>,
    pub(super) weights: Vec<f64>,
    pub(super) birds: Option<u32>,
    pub(super) note: Option<String>,
}
