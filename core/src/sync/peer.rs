//! Phone to phone, without a server: one envelope a turn, each carrying a message of Automerge's
//! own sync protocol for every document that still has something to say.
//!
//! Whatever carries bytes will do. Both sides take turns until both have sent an empty envelope.

use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};

use super::{DocDigest, MAX_BODY, SyncError, VERSION, message};
use crate::record::{DocName, Id};

/// One turn of one side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Envelope {
    /// Version of the protocol.
    pub v: u8,
    /// The farm, so that phones of two farms part at once.
    pub farm: ByteArray<16>,
    /// A digest of every document that this side has: only those that differ are opened.
    pub docs: Vec<DocDigest>,
    /// A message for each document that still has something to say.
    pub messages: Vec<(DocName, ByteBuf)>,
}

impl Envelope {
    /// An envelope of this farm.
    pub fn new(farm: Id, docs: Vec<DocDigest>, messages: Vec<(DocName, Vec<u8>)>) -> Envelope {
        Envelope {
            v: VERSION,
            farm: ByteArray::new(*farm.bytes()),
            docs,
            messages: messages
                .into_iter()
                .map(|(d, m)| (d, ByteBuf::from(m)))
                .collect(),
        }
    }

    /// Whether this side had nothing more to say.
    pub fn is_done(&self) -> bool {
        self.messages.is_empty()
    }

    /// The bytes that travel.
    pub fn encode(&self) -> Vec<u8> {
        message::write(self)
    }

    /// Reads bytes that came from the other phone.
    pub fn decode(bytes: &[u8], farm: Id) -> Result<Envelope, SyncError> {
        // A first exchange may carry years in one turn.
        if bytes.len() > 16 * MAX_BODY {
            return Err(SyncError::TooLarge(bytes.len()));
        }
        let envelope: Envelope = message::read(bytes)?;
        if envelope.v != VERSION {
            return Err(SyncError::Version { theirs: envelope.v });
        }
        if *envelope.farm != *farm.bytes() {
            return Err(SyncError::OtherFarm);
        }
        Ok(envelope)
    }
}
