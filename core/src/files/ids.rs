use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};

use crate::record::{Fields, Id, Instant};

/// The id of a record that follows from a file: a UUID version 7 of the event's time, whose random
/// bits are a hash of the farm, of what the record says, and of how many the same were said before in
/// the file. The same file brings the same ids on every phone, so that two phones that take it, or
/// one that takes it twice, end with one set of records.
///
/// RFC 9562 section 5.7 leaves the bits to the maker; 74 of them are of the hash.
pub(super) fn of_row(farm: Id, kind: &str, at: Instant, fields: &Fields, same_before: u32) -> Id {
    let mut hash = Sha256::new();
    // Version of this rule; a change would double every log that is imported again.
    hash.update(b"pointdown log 1\0");
    hash.update(farm.bytes());
    hash.update(kind.as_bytes());
    hash.update([0]);
    hash.update(at.ms().to_be_bytes());
    hash.update(same_before.to_be_bytes());
    for (name, value) in fields.iter().collect::<BTreeMap<_, _>>() {
        hash.update(format!("{name}={value}\n").as_bytes());
    }
    let mut random = [0; 10];
    random.copy_from_slice(&hash.finalize()[..10]);
    Id::at(at.ms(), random)
}
