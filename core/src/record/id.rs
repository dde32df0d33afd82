use std::fmt;
use std::str::FromStr;

use data_encoding::{Encoding, Specification};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use uuid::Uuid;

/// The name of a record: a UUID version 7 (RFC 9562), so that it carries the time of the event.
///
/// Its text is 22 characters of a base-64 alphabet in ASCII order: ids sort by time as text too,
/// and a document key costs little.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Id(Uuid);

/// A text that is no id.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no record id; an id has 22 letters, digits, '-' or '_', or is a UUID")]
pub struct IdError(String);

fn alphabet() -> &'static Encoding {
    static ALPHABET: std::sync::OnceLock<Encoding> = std::sync::OnceLock::new();
    ALPHABET.get_or_init(|| {
        let mut spec = Specification::new();
        spec.symbols
            .push_str("-0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz");
        spec.encoding().unwrap_or(data_encoding::BASE64URL_NOPAD)
    })
}

impl Id {
    /// The id of an event at `unix_ms` (milliseconds since 1970 UTC), made unique by `random`.
    pub fn at(unix_ms: i64, random: [u8; 10]) -> Id {
        let ms = u64::try_from(unix_ms).unwrap_or(0);
        Id(uuid::Builder::from_unix_timestamp_millis(ms, &random).into_uuid())
    }

    /// An id of the same millisecond that sorts after this one, by a random step: RFC 9562 section 6.2
    /// method 2. Nothing where there is no room left, or for an id of another version.
    pub fn next(self, random: [u8; 6]) -> Option<Id> {
        self.unix_ms()?;
        let mut bytes = *self.bytes();
        let mut low = [0; 8];
        low.copy_from_slice(&bytes[8..]);
        let mut step = [0; 8];
        step[2..].copy_from_slice(&random);
        // The two highest bits are the variant and stay.
        let room = u64::from_be_bytes(low) & (u64::MAX >> 2);
        let after = room + u64::from_be_bytes(step).max(1);
        if after > u64::MAX >> 2 {
            return None;
        }
        bytes[8..].copy_from_slice(&(after | 1 << 63).to_be_bytes());
        Some(Id::from_bytes(bytes))
    }

    /// Milliseconds since 1970 UTC that the id carries; nothing for an id of another version.
    pub fn unix_ms(self) -> Option<i64> {
        if self.0.get_version_num() != 7 {
            return None;
        }
        let bytes = self.0.as_bytes();
        let mut ms = [0u8; 8];
        ms[2..].copy_from_slice(&bytes[..6]);
        Some(i64::from_be_bytes(ms))
    }

    /// The sixteen bytes of the UUID.
    pub fn bytes(&self) -> &[u8; 16] {
        self.0.as_bytes()
    }

    /// The id with these sixteen bytes.
    pub fn from_bytes(bytes: [u8; 16]) -> Id {
        Id(Uuid::from_bytes(bytes))
    }

    /// The UUID itself.
    pub fn uuid(self) -> Uuid {
        self.0
    }

    /// An id that follows from this one and a name (UUID version 5), the same on every device.
    pub fn named(self, name: &str) -> Id {
        Id(Uuid::new_v5(&self.0, name.as_bytes()))
    }

    /// The last six characters, enough to point at a record in a list.
    pub fn short(self) -> String {
        self.to_string()[16..].to_string()
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&alphabet().encode(self.0.as_bytes()))
    }
}

impl fmt::Debug for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Id({self})")
    }
}

impl FromStr for Id {
    type Err = IdError;
    fn from_str(text: &str) -> Result<Id, IdError> {
        let wrong = || IdError(text.chars().take(60).collect());
        if text.len() == 36 {
            return Uuid::parse_str(text).map(Id).map_err(|_| wrong());
        }
        let bytes = alphabet().decode(text.as_bytes()).map_err(|_| wrong())?;
        <[u8; 16]>::try_from(bytes)
            .map(Id::from_bytes)
            .map_err(|_| wrong())
    }
}

impl Serialize for Id {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Id {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Id, D::Error> {
        let text = String::deserialize(d)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_round_trips_and_sorts_by_time() {
        let ids: Vec<Id> = (0..50i64)
            .map(|n| Id::at(1_700_000_000_000 + n * n * 977, [(n * 37 % 251) as u8; 10]))
            .collect();
        for pair in ids.windows(2).skip(1) {
            assert!(pair[0].to_string() < pair[1].to_string(), "{pair:?}");
        }
        for id in ids {
            assert_eq!(id.to_string().parse::<Id>(), Ok(id));
            assert_eq!(id.uuid().to_string().parse::<Id>(), Ok(id));
        }
    }

    #[test]
    fn the_time_comes_back_out() {
        assert_eq!(
            Id::at(1_764_000_000_123, [7; 10]).unix_ms(),
            Some(1_764_000_000_123)
        );
        assert_eq!(Id::at(5, [7; 10]).named("farm").unix_ms(), None);
    }

    #[test]
    fn the_next_id_sorts_after_in_the_same_millisecond() {
        for random in [[0; 10], [0x55; 10], [0xfe; 10]] {
            let id = Id::at(1_764_000_000_123, random);
            let next = id.next([0, 0, 0, 1, 2, 3]).expect("there is room");
            assert!(next > id && next.to_string() > id.to_string());
            assert_eq!(next.unix_ms(), id.unix_ms());
            assert_eq!(next.uuid().get_variant(), uuid::Variant::RFC4122);
        }
        assert_eq!(Id::at(5, [0xff; 10]).next([0xff; 6]), None);
        assert_eq!(Id::at(5, [7; 10]).named("farm").next([1; 6]), None);
    }

    #[test]
    fn other_texts_are_refused() {
        for text in [
            "",
            "abc",
            "!!!!!!!!!!!!!!!!!!!!!!",
            "zzzzzzzzzzzzzzzzzzzzzzz",
        ] {
            assert!(text.parse::<Id>().is_err(), "{text}");
        }
    }
}
