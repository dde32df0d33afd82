//! What a person can log, read and checked on the way in.
//!
//! A [`Draft`] becomes a [`Record`] or an [`InvalidRecord`] that names the field, the value and
//! what is allowed. Records are facts that never change; [`edits`] lays later amendments and voids
//! over them. [`Change`] and [`Entry`] are what ledger, store and sync hand to one another.

mod body;
mod change;
mod codec;
mod draft;
pub mod edits;
mod error;
mod field;
mod id;
mod kind;
mod lot;
mod rules;
mod schema;
mod time;

pub use body::{
    Amend, Body, Candle, Carton, Clock, Coop, Cull, Decision, Device, Farm, Feed, Gather,
    Headcount, Hold, Named, Out, Outlet, Person, Reading, Recount, Supply, Void, Wash, Weigh,
};
pub use change::{Actor, Change, DocName, Entry, Hash};
pub use codec::{decode, encode};
pub use draft::{Draft, Known, Record, Where};
pub use error::InvalidRecord;
pub use field::{FieldSpec, FieldType};
pub use id::{Id, IdError};
pub use kind::Kind;
pub use lot::{Lot, Parts, Station, run_code};
pub use schema::{COMMON, spec};
pub use time::{Instant, Zone, ZoneError};

/// The fields of a record by name, as plain JSON values.
pub type Fields = serde_json::Map<String, serde_json::Value>;
