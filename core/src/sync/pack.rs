use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use serde::de::{DeserializeSeed, Deserializer, Error as _, SeqAccess, Visitor};
use serde_bytes::ByteBuf;

use super::SyncError;
use crate::record::DocName;

/// Changes by document, in an order in which each follows those that it depends on.
pub type Packed = Vec<(DocName, Vec<ByteBuf>)>;

/// What a pack may unfold to, in bytes: a small body must not become a large one.
const MAX_UNPACKED: u64 = 64 * 1024 * 1024;

/// The most changes in a pack. A phone sends some hundreds at a time, a server as many as fit into
/// a page; without a limit a small body could ask for millions of small lists.
pub const MOST_PACKED: usize = 20_000;

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
    super::message::read::<Bounded>(&plain).map(|bounded| bounded.0)
}

/// A [`Packed`] that is read with an eye on how much of it there is.
struct Bounded(Packed);

impl<'de> serde::Deserialize<'de> for Bounded {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Bounded, D::Error> {
        deserializer.deserialize_seq(Docs).map(Bounded)
    }
}

fn too_many<E: serde::de::Error>() -> E {
    E::custom(format_args!("more than {MOST_PACKED} changes or documents"))
}

struct Docs;

impl<'de> Visitor<'de> for Docs {
    type Value = Packed;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("documents with their changes")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Packed, A::Error> {
        let mut left = MOST_PACKED;
        let mut docs = Packed::new();
        while let Some(doc) = seq.next_element_seed(Doc(&mut left))? {
            if docs.len() >= MOST_PACKED {
                return Err(too_many());
            }
            docs.push(doc);
        }
        Ok(docs)
    }
}

/// One document and its changes; the number counts down how many more there may be.
struct Doc<'a>(&'a mut usize);

impl<'de> DeserializeSeed<'de> for Doc<'_> {
    type Value = (DocName, Vec<ByteBuf>);

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_tuple(2, self)
    }
}

impl<'de> Visitor<'de> for Doc<'_> {
    type Value = (DocName, Vec<ByteBuf>);

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a document's name and its changes")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
        let short = || A::Error::invalid_length(0, &"a document's name and its changes");
        let name = seq.next_element()?.ok_or_else(short)?;
        let changes = seq.next_element_seed(Changes(self.0))?.ok_or_else(short)?;
        Ok((name, changes))
    }
}

struct Changes<'a>(&'a mut usize);

impl<'de> DeserializeSeed<'de> for Changes<'_> {
    type Value = Vec<ByteBuf>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for Changes<'_> {
    type Value = Vec<ByteBuf>;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("changes")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Vec<ByteBuf>, A::Error> {
        let mut changes = Vec::new();
        while let Some(bytes) = seq.next_element()? {
            *self.0 = self.0.checked_sub(1).ok_or_else(too_many)?;
            changes.push(bytes);
        }
        Ok(changes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_body_cannot_ask_for_millions() {
        let deflate = |plain: &[u8]| {
            let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
            encoder.write_all(plain).unwrap();
            encoder.finish().unwrap()
        };
        // RFC 8949: an array of one, in it an array of two, a text, and an array of n empty byte
        // strings (0x40).
        let many = |n: u32| {
            let mut plain = b"\x81\x82\x64farm\x9a".to_vec();
            plain.extend(n.to_be_bytes());
            plain.resize(plain.len() + n as usize, 0x40);
            deflate(&plain)
        };
        let most = MOST_PACKED as u32;
        assert_eq!(unpack(&many(most)).unwrap()[0].1.len(), MOST_PACKED);
        let refused = unpack(&many(most + 1)).unwrap_err().to_string();
        assert!(refused.contains("20000"), "{refused}");
        let body = many(30_000_000);
        assert!(body.len() < 40_000 && unpack(&body).is_err());
        let mut docs = b"\x9a".to_vec();
        docs.extend((most + 1).to_be_bytes());
        (0..=most).for_each(|_| docs.extend(b"\x82\x64farm\x80"));
        assert!(unpack(&deflate(&docs)).is_err());
    }
}
