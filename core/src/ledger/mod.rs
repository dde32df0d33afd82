//! The Automerge documents: one of set-up facts, one a UTC month of records.
//!
//! A document is a flat map. Each record stands directly in its root under its own id, as one
//! CBOR value written once; amendments and voids are records of their own. So no write ever
//! replaces another, nothing depends on the order of arrival, and what a change says can be read
//! from the change alone, without loading the document.
//!
//! ```text
//! "_doc"                    the document's id          one fixed genesis change,
//! "_schema"                 1                          the same on every device
//! "0GmV..." (22 characters) CBOR {kind: "gather", coop: ..., count: 12, ...}
//! ```

mod ancestry;
mod document;
mod error;
mod measure;
mod read;

pub use document::{Document, PeerState, Received};
pub use error::LedgerError;
pub use read::{genesis, read_change};
