//! What travels between phones, as any Automerge library sees it.

use automerge::Automerge;
use ciborium::Value;
use pointdown_core::farm::{Farm, Location};
use pointdown_core::record::{DocName, Id};

use crate::phone::TestEnv;

/// One change, with what it builds on.
#[derive(Debug, Clone)]
pub struct Loose {
    /// Its document.
    pub doc: DocName,
    /// Its hash.
    pub hash: [u8; 32],
    /// What it builds on.
    pub deps: Vec<[u8; 32]>,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// The documents in an exported file: 16 bytes of name, 32 of checksum, then CBOR.
pub fn documents(file: &[u8]) -> Vec<(DocName, Vec<u8>)> {
    let Value::Map(bundle) = ciborium::from_reader(&file[48..]).expect("CBOR") else {
        panic!("a map")
    };
    let (_, docs) = bundle
        .into_iter()
        .find(|(k, _)| k.as_text() == Some("docs"))
        .expect("documents");
    docs.into_array()
        .expect("a list")
        .into_iter()
        .map(|pair| {
            let mut pair = pair.into_array().expect("a pair").into_iter();
            let name = pair.next().and_then(|n| n.into_text().ok()).expect("name");
            let saved = pair.next().and_then(|b| b.into_bytes().ok()).expect("doc");
            (name.parse().expect("a document's name"), saved)
        })
        .collect()
}

/// Every change of a farm but the genesis of each document, read with plain Automerge.
pub fn changes(farm: &Farm) -> Vec<Loose> {
    let mut all = Vec::new();
    for (doc, saved) in documents(&farm.export().expect("an export")) {
        let document = Automerge::load(&saved).expect("plain Automerge opens it");
        for change in document.get_changes(&[]) {
            if !change.deps().is_empty() {
                all.push(Loose {
                    doc: doc.clone(),
                    hash: change.hash().0,
                    deps: change.deps().iter().map(|d| d.0).collect(),
                    bytes: change.raw_bytes().to_vec(),
                });
            }
        }
    }
    all
}

/// A phone in memory that keeps this farm and has nothing of it yet.
pub fn empty(farm: Id, seed: u64) -> Farm {
    let env = TestEnv::new(crate::phone::at("2026-05-01T00:00:00Z"), seed ^ 0xabcd);
    Farm::make(&Location::Memory, env, farm).expect("an empty phone")
}
