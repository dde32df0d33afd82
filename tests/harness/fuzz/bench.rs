//! The phone that the bytes come to, always the same one, and how it is looked over afterwards.

use std::cell::RefCell;
use std::io::Write as _;
use std::sync::Arc;

use flate2::Compression;
use flate2::write::DeflateEncoder;
use pointdown_core::farm::{Beginning, Farm, FarmError, Location};
use pointdown_core::record::{Draft, Fields, Id, Kind};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

use crate::phone::{TestEnv, at, gather, set_up};

/// The time at which all of it happens.
pub const NOW: &str = "2026-05-01T12:00:00Z";

/// The month document of [`NOW`].
pub const MONTH: &str = "2026-05";

/// What came of the bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing was changed.
    Refused,
    /// They were taken, and all is well.
    Taken,
}

/// A phone with a small book, and what the book looks like.
pub(super) struct Bench {
    pub(super) farm: Farm,
    pub(super) ids: Vec<(char, Id)>,
    pub(super) view: Vec<String>,
}

impl Bench {
    /// The same phone with the same ids whenever it is made.
    pub(super) fn new() -> Bench {
        let env: Arc<TestEnv> = TestEnv::new(at(NOW), 42);
        let beginning = Beginning {
            farm: set_up("America/Chicago"),
            person: "Ada".into(),
            device: "Ada's phone".into(),
        };
        let farm = Farm::begin(&Location::Memory, env, beginning).expect("a farm begins");
        let log = |draft: Draft| farm.log(draft).expect("it is allowed").id;
        let coop = |name: &str, species: &str| {
            log(Draft::new(Kind::Coop)
                .with("name", name)
                .with("species", species))
        };
        let (orchard, pond) = (coop("Orchard", "hen"), coop("Pond", "duck,hen"));
        let round = log(gather("Orchard", "hen", 24));
        let run = log(Draft::new(Kind::Carton)
            .with("parts", json!({"2026-05-01/hen": 12}))
            .with("from", "basket")
            .with("species", "hen")
            .with("eggs_per_carton", 12)
            .with("cartons", 1)
            .with("packed", "2026-05-01"));
        let person = farm.person().expect("a person");
        farm.joined("http://127.0.0.1:1", "00").expect("joined");
        let view = farm.view().expect("a view");
        let ids = vec![
            ('c', orchard),
            ('d', pond),
            ('g', round),
            ('k', run),
            ('p', person),
            ('f', farm.id()),
        ];
        Bench { farm, ids, view }
    }

    /// Lets a phone take bytes, and looks it over. A phone that refused is as before and is used
    /// again, so that a run is fast.
    pub(super) fn with(work: impl FnOnce(&Bench) -> Result<bool, FarmError>) -> Outcome {
        thread_local! {
            static READY: RefCell<Option<Bench>> = const { RefCell::new(None) };
        }
        let bench = READY.take().unwrap_or_else(Bench::new);
        match work(&bench) {
            Ok(true) => {
                clean(&bench.farm);
                Outcome::Taken
            }
            Ok(false) | Err(_) => {
                let view = bench.farm.view().expect("a view");
                assert_eq!(bench.view, view, "what is refused changes nothing");
                READY.set(Some(bench));
                Outcome::Refused
            }
        }
    }

    /// A value with each text `$x` replaced by an id: `$0` to `$9` are ids of this moment, the
    /// letters are those of the phone's own records.
    pub(super) fn named(&self, value: Value) -> Value {
        match value {
            Value::String(text) => match text.strip_prefix('$').map(|c| self.id_of(c)) {
                Some(Some(id)) => id.to_string().into(),
                _ => text.into(),
            },
            Value::Array(all) => all.into_iter().map(|v| self.named(v)).collect(),
            Value::Object(map) => self.named_all(map).into(),
            other => other,
        }
    }

    /// The same for each of some fields.
    pub(super) fn named_all(&self, map: Fields) -> Fields {
        map.into_iter().map(|(k, v)| (k, self.named(v))).collect()
    }

    /// Bytes with each `$x` replaced likewise.
    pub(super) fn named_bytes(&self, bytes: &[u8]) -> Vec<u8> {
        let mut out = Vec::with_capacity(bytes.len());
        let mut rest = bytes;
        while let Some((first, more)) = rest.split_first() {
            let letter = more.first().map(|b| char::from(*b).to_string());
            let id = letter
                .filter(|_| *first == b'$')
                .and_then(|l| self.id_of(&l));
            match id {
                Some(id) => {
                    out.extend(id.to_string().into_bytes());
                    rest = &more[1..];
                }
                None => {
                    out.push(*first);
                    rest = more;
                }
            }
        }
        out
    }

    fn id_of(&self, letter: &str) -> Option<Id> {
        let mut chars = letter.chars();
        let (Some(c), None) = (chars.next(), chars.next()) else {
            return None;
        };
        match c.to_digit(10) {
            Some(n) => Some(crate::raw::id(NOW, n.into())),
            None => self.ids.iter().find(|(l, _)| *l == c).map(|(_, id)| *id),
        }
    }
}

/// A phone's book adds up, equals its rebuild, can be looked at, and travels.
pub(super) fn clean(farm: &Farm) {
    let check = farm.check().expect("a check");
    assert_eq!(check.wrong, Vec::<String>::new());
    let view = farm.view().expect("a view");
    farm.rebuild().expect("a rebuild");
    assert_eq!(view, farm.view().expect("a view"), "against the rebuild");
    farm.review().expect("a review list");
    let today = farm.today().expect("a day");
    farm.sheet(today, today).expect("a sheet");
    let file = farm.export().expect("an export");
    let other = crate::raw::empty(farm.id(), 7);
    other.import(&file).expect("it travels");
    assert_eq!(view, other.view().expect("a view"), "on an empty phone");
}

/// A chunk of Automerge's binary format (<https://automerge.org/automerge-binary-format-spec/>)
/// around contents, its checksum and length right whatever they are. Type 0 is a document, 1 a
/// change, 2 a change under DEFLATE, 3 a bundle of changes.
pub fn chunk(kind: u8, contents: &[u8]) -> Vec<u8> {
    // The checksum of a compressed change is that of the change.
    let head = if kind == 2 { 1 } else { kind };
    let plain = [&[head][..], &leb128(contents.len()), contents].concat();
    let sum = Sha256::digest(&plain);
    let mut bytes = vec![0x85, 0x6f, 0x4a, 0x83];
    bytes.extend(&sum[..4]);
    if kind == 2 {
        let folded = deflate(contents);
        bytes.push(2);
        bytes.extend(leb128(folded.len()));
        bytes.extend(folded);
    } else {
        bytes.extend(plain);
    }
    bytes
}

/// The contents of a chunk that is not compressed.
pub fn contents(chunk: &[u8]) -> &[u8] {
    let length = chunk[9..].iter().take_while(|b| *b & 0x80 != 0).count() + 1;
    &chunk[9 + length..]
}

/// DEFLATE (RFC 1951).
pub(super) fn deflate(plain: &[u8]) -> Vec<u8> {
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(plain).expect("into memory");
    encoder.finish().expect("into memory")
}

/// An unsigned number in LEB128.
pub(super) fn leb128(mut n: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    loop {
        let low = (n & 0x7f) as u8;
        n >>= 7;
        if n == 0 {
            bytes.push(low);
            return bytes;
        }
        bytes.push(low | 0x80);
    }
}
