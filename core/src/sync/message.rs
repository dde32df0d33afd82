use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};

use super::{Digest, SyncError};
use crate::record::DocName;

/// The version of the protocol that this code speaks.
pub const VERSION: u8 = 1;

/// The largest body of a message, in bytes.
pub const MAX_BODY: usize = 8 * 1024 * 1024;

/// What a phone sends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ask {
    /// Version of the protocol.
    pub v: u8,
    /// The epoch that the cursor belongs to; nothing before the first answer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub epoch: Option<ByteArray<16>>,
    /// How far the server's log is known.
    pub cursor: u64,
    /// The phone's clock, milliseconds since 1970 UTC.
    pub now: i64,
    /// Actors of this device that the server may not know yet.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub actors: Vec<ByteArray<16>>,
    /// Actors of other phones that this device took changes from by hand, and answers for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub vouched: Vec<ByteArray<16>>,
    /// Unsent changes, see [`super::pack`].
    #[serde(default, skip_serializing_if = "no_bytes")]
    pub pack: ByteBuf,
    /// A digest of every document, where both sides are to be held against each other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check: Option<Vec<DocDigest>>,
    /// Documents that the phone wants whole.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fetch: Vec<DocName>,
}

/// What a server answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// Version of the protocol.
    pub v: u8,
    /// The epoch of the server's log: another one than asked with means that it was restored.
    pub epoch: ByteArray<16>,
    /// How far the log is known to the phone now.
    pub cursor: u64,
    /// Whether the log goes on after the cursor.
    #[serde(default, skip_serializing_if = "is_false")]
    pub more: bool,
    /// The server's clock, milliseconds since 1970 UTC.
    pub now: i64,
    /// Changes that the phone may lack, see [`super::pack`].
    #[serde(default, skip_serializing_if = "no_bytes")]
    pub pack: ByteBuf,
    /// Whole documents.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub docs: Vec<Saved>,
    /// Documents that differ and did not fit: to be fetched, first one first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lack: Vec<DocName>,
    /// Documents of which the server lacks something: to be sent whole.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub want: Vec<DocName>,
    /// Changes that were not taken.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refused: Vec<Refusal>,
    /// Everything that the server holds for the farm.
    pub digest: Digest,
}

/// A document and the digest of what one side holds of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DocDigest {
    /// Which document.
    pub doc: DocName,
    /// The changes of it.
    pub digest: Digest,
}

/// A whole document in Automerge's own saved form.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Saved {
    /// Which document.
    pub doc: DocName,
    /// Its bytes.
    pub bytes: ByteBuf,
}

/// A change that was not taken, by name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refusal {
    /// Which document.
    pub doc: DocName,
    /// The change; nothing where its bytes are no change at all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hash: Option<ByteArray<32>>,
    /// Why.
    pub why: Why,
}

/// Why a change was not taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// Changes that it depends on are not there; the phone answers with them.
    Missing(Vec<ByteArray<32>>),
    /// Nobody of this farm registered the actor that made it.
    Unregistered(ByteArray<16>),
    /// The actor made another change under the same number: a copied or restored database.
    Forked,
    /// The bytes are no change, or not of this document.
    Broken(String),
    /// The device that brought it may only read.
    ReadOnly,
}

fn no_bytes(bytes: &ByteBuf) -> bool {
    bytes.is_empty()
}

fn is_false(b: &bool) -> bool {
    !*b
}

/// A message as CBOR (RFC 8949).
pub(super) fn write<T: Serialize>(message: &T) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Writing to a vector cannot fail.
    let _ = ciborium::into_writer(message, &mut bytes);
    bytes
}

/// Reads one whole CBOR item and nothing after it.
pub(super) fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, SyncError> {
    let mut rest = bytes;
    let message = ciborium::de::from_reader_with_recursion_limit(&mut rest, 24)
        .map_err(|e| SyncError::Unreadable(e.to_string()))?;
    if !rest.is_empty() {
        return Err(SyncError::Unreadable(format!(
            "{} bytes too many",
            rest.len()
        )));
    }
    Ok(message)
}

/// The version alone, so that a message of a later one gets a clear answer.
#[derive(Deserialize)]
struct Version {
    v: u8,
}

fn read_versioned<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, SyncError> {
    if bytes.len() > MAX_BODY {
        return Err(SyncError::TooLarge(bytes.len()));
    }
    let Version { v } = read(bytes)?;
    if v != VERSION {
        return Err(SyncError::Version { theirs: v });
    }
    read(bytes)
}

impl Ask {
    /// The bytes that travel.
    pub fn encode(&self) -> Vec<u8> {
        write(self)
    }

    /// Reads bytes that came from a phone.
    pub fn decode(bytes: &[u8]) -> Result<Ask, SyncError> {
        read_versioned(bytes)
    }
}

impl Answer {
    /// The bytes that travel.
    pub fn encode(&self) -> Vec<u8> {
        write(self)
    }

    /// Reads bytes that came from a server.
    pub fn decode(bytes: &[u8]) -> Result<Answer, SyncError> {
        read_versioned(bytes)
    }
}
