//! The SQLite database of one phone: the log of changes, what is still to be sent, and the book.
//!
//! The log of changes is the truth; `record`, `move`, `balance` and `line` are a view of it that
//! can be made anew. A change, its outbox line and what it does to the book commit in one
//! transaction or not at all.

mod changes;
mod connection;
mod count;
mod error;
mod facts;
#[cfg(feature = "faults")]
mod faults;
mod migrate;
mod projection;
mod query;
mod recount;
mod review;
mod review_counts;
mod rows;
mod seal;
mod stray;
mod trail;
mod tx;

pub use changes::{Kept, Unsent};
pub use connection::{Location, Store};
pub use error::StoreError;
pub use facts::FirstFacts;
#[cfg(feature = "faults")]
pub use faults::{Fault, use_vfs};
pub use migrate::{VERSION, migrate_to};
pub use query::{Filter, Row};
pub use review::{Apart, Written};
pub use stray::Stray;
pub use tx::Tx;
