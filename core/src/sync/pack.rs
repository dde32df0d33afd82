use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use serde_bytes::ByteBuf;

use super::SyncError;
use crate::record::DocName;

/// Changes by document, in an order in which each follows those that it depends on.
pub type Packed = Vec<(DocName, Vec<ByteBuf>)>;

/// What a pack may unfold to, in bytes: a small body must not become a large one.
const MAX_UNPACKED: u64 = 64 * 1024 * 1024;

/// Changes on the way: CBOR under DEFLATE (RFC 1951), since single changes share most of their
/// bytes with one another. Nothing for no changes.
pub fn pack<'a>(changes: impl IntoIterator<Item = (&'a DocName, &'a [u8])>) -> ByteBuf {
    let mut packed: Packed = Vec::new();
    for (doc, bytes) in changes {
        let bytes = ByteBuf::from(bytes);
        match packed.last_mut() {
            Some((last, list)) if last == doc => list.push(bytes),
            _ => packed.push((doc.clone(), vec![bytes])),
        }
    }
    if packed.is_empty() {
        return ByteBuf::new();
    }
    let mut plain = Vec::new();
    // Neither writing to a vector nor deflating into one can fail.
    let _ = ciborium::into_writer(&packed, &mut plain);
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
    let _ = encoder.write_all(&plain);
    ByteBuf::from(encoder.finish().unwrap_or_default())
}

/// Unfolds what [`pack`] made.
pub fn unpack(bytes: &[u8]) -> Result<Packed, SyncError> {
    if bytes.is_empty() {
        return Ok(Vec::new());
    }
    let mut plain = Vec::new();
    DeflateDecoder::new(bytes)
        .take(MAX_UNPACKED + 1)
        .read_to_end(&mut plain)
        .map_err(|e| SyncError::Unreadable(format!("packed changes: {e}")))?;
    if plain.len() as u64 > MAX_UNPACKED {
        return Err(SyncError::TooLarge(plain.len()));
    }
    super::message::read(&plain)
}
