//! Messages of the automerge-repo WebSocket protocol, version "1": one CBOR map a frame.
//!
//! As its reference client (npm `@automerge/automerge-repo-network-websocket` 2.5.6) sends and
//! reads them.

use pointdown_core::record::Id;
use serde::{Deserialize, Serialize};
use serde_bytes::{ByteBuf, Bytes};

/// The version of the protocol.
pub(super) const VERSION: &str = "1";

/// What a client may send; of each message only what is used here.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Incoming {
    #[serde(rename = "type")]
    pub(super) kind: String,
    pub(super) sender_id: Option<String>,
    pub(super) document_id: Option<String>,
    pub(super) data: Option<ByteBuf>,
    #[serde(default)]
    pub(super) supported_protocol_versions: Vec<String>,
}

impl Incoming {
    pub(super) fn read(bytes: &[u8]) -> Result<Incoming, String> {
        ciborium::de::from_reader_with_recursion_limit(bytes, 24)
            .map_err(|e| format!("the message cannot be read: {e}"))
    }
}

/// What the server sends.
#[derive(Debug, Default, Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Outgoing<'a> {
    #[serde(rename = "type")]
    pub(super) kind: &'a str,
    pub(super) sender_id: &'a str,
    pub(super) target_id: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) document_id: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) data: Option<&'a Bytes>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) message: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) selected_protocol_version: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) peer_metadata: Option<Metadata>,
}

/// What the server tells of itself.
#[derive(Debug, Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Metadata {
    /// It keeps nothing for the client that the client should ask for elsewhere.
    pub(super) is_ephemeral: bool,
}

impl Outgoing<'_> {
    pub(super) fn encode(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        // Writing to a vector cannot fail.
        let _ = ciborium::into_writer(self, &mut bytes);
        bytes
    }
}

/// The id of a document in this protocol: its UUID in base 58 with four bytes of double SHA-256.
pub(super) fn document_id(text: &str) -> Option<Id> {
    let bytes = bs58::decode(text).with_check(None).into_vec().ok()?;
    Some(Id::from_bytes(bytes.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What `stringifyAutomergeUrl` of npm `@automerge/automerge-repo` 2.5.6 gives for the UUID 00010203-0405-0607-0809-0a0b0c0d0e0f.
    #[test]
    fn ids_are_those_of_the_reference_client() {
        let id = document_id("1Bhh3pU9gLXZiNDL6PEa1Gs9fh").unwrap();
        assert_eq!(id.bytes(), &std::array::from_fn(|n| n as u8));
        assert!(document_id("1Bhh3pU9gLXZiNDL6PEa1Gs9fi").is_none());
        assert!(document_id("").is_none());
    }
}
