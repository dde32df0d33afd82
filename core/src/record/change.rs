use std::fmt;
use std::str::FromStr;

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use super::{Id, Instant, Kind};

macro_rules! bytes_newtype {
    ($(#[$doc:meta])* $name:ident, $len:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(pub [u8; $len]);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&data_encoding::HEXLOWER.encode(&self.0))
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}({self})", stringify!($name))
            }
        }

        impl $name {
            /// The value with these bytes, if their number is right.
            pub fn from_slice(bytes: &[u8]) -> Option<$name> {
                bytes.try_into().ok().map($name)
            }
        }
    };
}

bytes_newtype!(
    /// The SHA-256 hash that names an Automerge change.
    Hash,
    32
);
bytes_newtype!(
    /// An Automerge actor: one installation, or one restored backup, of one device.
    Actor,
    16
);

/// The name of a document within its farm: `farm`, or a UTC month such as `2026-11`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct DocName(String);

impl DocName {
    /// The document of the set-up facts.
    pub fn farm() -> DocName {
        DocName("farm".into())
    }

    /// The document of the UTC month of a moment.
    pub fn month_of(at: Instant) -> DocName {
        let day = at.utc();
        DocName(format!(
            "{:04}-{:02}",
            day.year().clamp(0, 9999),
            day.month()
        ))
    }

    /// Where a record of this kind and id is at home. A record never moves, since this is the time
    /// of the event as it was first logged.
    pub fn home(kind: Kind, id: Id) -> DocName {
        match id.unix_ms() {
            Some(ms) if !kind.is_setup() => DocName::month_of(Instant::from_ms(ms)),
            _ => DocName::farm(),
        }
    }

    /// Whether this is the document of the set-up facts.
    pub fn is_farm(&self) -> bool {
        self.0 == "farm"
    }

    /// The name itself.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The id of the document, which follows from farm and name.
    pub fn id(&self, farm: Id) -> Id {
        farm.named(&self.0)
    }
}

impl fmt::Display for DocName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for DocName {
    type Err = String;
    fn from_str(text: &str) -> Result<DocName, String> {
        let month =
            text.len() == 7 && NaiveDate::parse_from_str(&format!("{text}-01"), "%Y-%m-%d").is_ok();
        if text == "farm" || month {
            Ok(DocName(text.into()))
        } else {
            let shown: String = text.chars().take(40).collect();
            Err(format!(
                "document {shown:?} is not known; allowed are farm and months as 2026-11"
            ))
        }
    }
}

impl TryFrom<String> for DocName {
    type Error = String;
    fn try_from(text: String) -> Result<DocName, String> {
        text.parse()
    }
}

impl From<DocName> for String {
    fn from(name: DocName) -> String {
        name.0
    }
}

/// One Automerge change, its header read, its bytes as they travel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The document that it belongs to.
    pub doc: DocName,
    /// Its name: the hash of its content.
    pub hash: Hash,
    /// Who made it.
    pub actor: Actor,
    /// The how-manieth of this actor in this document, from 1.
    pub seq: u64,
    /// The changes that its maker had seen last.
    pub deps: Vec<Hash>,
    /// Lamport counter of its first write: one more than the last of what it builds on.
    pub first_op: u64,
    /// Lamport counter of its last write; one less than the first where it writes nothing.
    pub last_op: u64,
    /// When it was made, in seconds since 1970 by the maker's clock.
    pub made_at: i64,
    /// The change in Automerge's own binary form.
    pub bytes: Vec<u8>,
}

/// What a change wrote: one record, still encoded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The document it stands in.
    pub doc: DocName,
    /// The key it was written under.
    pub key: String,
    /// The encoded record; nothing where a foreign program wrote something else.
    pub bytes: Option<Vec<u8>>,
    /// The change that wrote it.
    pub hash: Hash,
    /// Who wrote it.
    pub actor: Actor,
    /// Lamport counter of the write: of two writes under one key the lower (counter, actor) stands.
    pub op: u64,
    /// When it was written, in seconds since 1970 by the writer's clock.
    pub made_at: i64,
}
