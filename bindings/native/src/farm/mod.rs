//! The facade as an object.

mod asks;
mod disk;
mod exchange;
mod logs;
mod money;
mod open;
mod pack;
mod paper;

pub use disk::{restore, verify_backup};
pub use logs::Filter;
pub use open::SetUp;

use std::path::Path;
use std::sync::{Arc, PoisonError, RwLock};

use chrono::NaiveDate;
use pointdown_core::farm::{self, Location, System};
use pointdown_core::record::{Id, InvalidRecord, Kind, Lot};

use crate::PointdownError;

/// A family's book on one device, open. Safe to use from any thread; every call blocks until it is
/// done, so not from the one that draws the screen.
#[derive(uniffi::Object)]
pub struct Farm {
    /// Nothing once it was closed.
    open: RwLock<Option<Arc<farm::Farm>>>,
}

impl Farm {
    fn of(farm: farm::Farm) -> Arc<Farm> {
        Arc::new(Farm {
            open: RwLock::new(Some(Arc::new(farm))),
        })
    }

    /// The core's farm; a call under way keeps it open until it is done.
    fn core(&self) -> Result<Arc<farm::Farm>, PointdownError> {
        let open = self.open.read().unwrap_or_else(PoisonError::into_inner);
        open.clone().ok_or_else(|| PointdownError::Closed {
            text: "this farm was closed; open it again".into(),
        })
    }
}

fn location(path: &str) -> Location {
    Location::from(Path::new(path))
}

fn system() -> Arc<System> {
    Arc::new(System)
}

fn day(field: &str, text: &str) -> Result<NaiveDate, PointdownError> {
    text.parse()
        .map_err(|_| InvalidRecord::new(field, text, "allowed is a day such as 2026-11-25").into())
}

fn id(field: &str, text: &str) -> Result<Id, PointdownError> {
    text.parse()
        .map_err(|_| InvalidRecord::new(field, text, "allowed is the id of a record").into())
}

/// A lot as records write it.
pub(crate) fn lot(field: &str, text: &str) -> Result<Lot, PointdownError> {
    text.parse()
        .map_err(|allowed: String| InvalidRecord::new(field, text, allowed).into())
}

fn kind(word: &str) -> Result<Kind, PointdownError> {
    Kind::from_code(word).ok_or_else(|| {
        let all: Vec<&str> = Kind::ALL.iter().map(|kind| kind.code()).collect();
        let allowed = format!("allowed are {}", all.join(", "));
        InvalidRecord::new("kind", word, allowed).into()
    })
}
