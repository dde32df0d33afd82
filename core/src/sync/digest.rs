use serde::{Deserialize, Serialize};
use serde_bytes::ByteArray;

use crate::record::Hash;

/// A digest of a set of changes: the exclusive-or of their hashes, and how many there are. Adding a
/// change costs the same however many there were, and adding it again takes it away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Digest {
    /// The exclusive-or of the hashes.
    pub of: ByteArray<32>,
    /// How many changes.
    pub n: u64,
}

impl Default for Digest {
    fn default() -> Digest {
        Digest {
            of: ByteArray::new([0; 32]),
            n: 0,
        }
    }
}

impl Digest {
    /// With one more change, which was not in it.
    pub fn add(&mut self, hash: &Hash) {
        self.xor(&hash.0);
        self.n += 1;
    }

    /// Without a change, which was in it.
    pub fn remove(&mut self, hash: &Hash) {
        self.xor(&hash.0);
        self.n = self.n.saturating_sub(1);
    }

    /// With all changes of another set, none of which was in it.
    pub fn join(&mut self, other: &Digest) {
        self.xor(&other.of);
        self.n += other.n;
    }

    fn xor(&mut self, bytes: &[u8; 32]) {
        for (mine, theirs) in self.of.iter_mut().zip(bytes) {
            *mine ^= theirs;
        }
    }
}
