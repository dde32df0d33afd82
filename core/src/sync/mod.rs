//! The exchange between a phone and a server, or between two phones, as bytes in and bytes out.
//!
//! No I/O, no clock and no randomness: what a side knows goes in as arguments, what is to be done
//! comes out as data, and whoever calls carries the bytes.
//!
//! ```text
//! phone                                            server
//!   Ask    epoch, cursor, my unsent changes   ->     takes each change once, by its hash
//!   Answer <-  epoch, cursor, what I lack, more?, refusals by name, digest, its clock
//! ```
//!
//! * The usual case is one round trip: unsent changes up, everything after the cursor down.
//! * A first sync, a server with a new epoch, and digests that differ all go the same way: the
//!   phone sends a digest of each document ([`Ask::check`]); the server answers with whole
//!   documents, the farm's own first and then the newest month first, names those that did not fit
//!   (`lack`) and those of which it lacks something itself (`want`).
//! * Every step can be repeated: changes are keyed by their hash, documents merge.

mod digest;
mod join;
mod link;
mod message;
mod pack;
pub mod peer;
pub mod phone;

pub use digest::Digest;
pub use join::{JoinAnswer, JoinAsk, Refused};
pub use link::{InviteLink, Pin, pin_text, read_pin};
pub use message::{Answer, Ask, DocDigest, MAX_BODY, Refusal, Saved, VERSION, Why};
pub use pack::{MOST_PACKED, Packed, pack, unpack};

/// A message that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SyncError {
    /// Not the bytes of a message of this protocol: cut short, tampered with, or something else.
    #[error("the message cannot be read: {0}")]
    Unreadable(String),
    /// A message of another version of the protocol.
    #[error("the other side speaks version {theirs} of the protocol; this one speaks {VERSION}")]
    Version {
        /// The version that the message names.
        theirs: u8,
    },
    /// A message larger than is ever sent.
    #[error("the message has {0} bytes; allowed are {MAX_BODY}")]
    TooLarge(usize),
    /// A message of another farm.
    #[error("the other side keeps another farm")]
    OtherFarm,
}
