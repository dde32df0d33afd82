//! What travels between phones, as any Automerge library sees it.

use automerge::transaction::{Transactable, Transaction};
use automerge::{ActorId, Automerge, ROOT, ScalarValue};
use ciborium::Value;
use pointdown_core::farm::{Farm, Location};
use pointdown_core::record::{DocName, Id};
use serde_json::Value as Json;

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

/// A foreign program that writes into one document with plain Automerge.
pub struct Foreign {
    doc: DocName,
    automerge: Automerge,
}

impl Foreign {
    /// One that has seen what the farm has.
    pub fn beside(farm: &Farm, doc: &str, actor: u8) -> Foreign {
        let name: DocName = doc.parse().expect("a document's name");
        let saved = documents(&farm.export().expect("an export"))
            .into_iter()
            .find(|(d, _)| *d == name);
        let mut foreign = Foreign::apart(farm.id(), doc, actor);
        if let Some((_, saved)) = saved {
            foreign.automerge = Automerge::load(&saved).expect("a document");
            foreign.automerge.set_actor(ActorId::from([actor; 16]));
        }
        foreign
    }

    /// One that has seen nothing but the genesis.
    pub fn apart(farm: Id, doc: &str, actor: u8) -> Foreign {
        let doc: DocName = doc.parse().expect("a document's name");
        let genesis = pointdown_core::ledger::genesis(farm, &doc);
        let mut automerge = Automerge::new().with_actor(ActorId::from([actor; 16]));
        let first = automerge::Change::try_from(genesis.bytes.as_slice()).expect("a change");
        automerge.apply_changes([first]).expect("the genesis");
        Foreign { doc, automerge }
    }

    /// One change, ready to be taken.
    pub fn write(&mut self, work: impl FnOnce(&mut Transaction<'_>)) -> (DocName, Vec<u8>) {
        let mut tx = self.automerge.transaction();
        work(&mut tx);
        tx.commit();
        let change = self.automerge.get_last_local_change().expect("a change");
        (self.doc.clone(), change.raw_bytes().to_vec())
    }

    /// One change that puts these records under these keys.
    pub fn put(&mut self, records: &[(String, Json)]) -> (DocName, Vec<u8>) {
        self.write(|tx| {
            for (key, fields) in records {
                let fields = fields.as_object().expect("fields");
                let bytes = ScalarValue::Bytes(pointdown_core::record::encode(fields));
                tx.put(ROOT, key.as_str(), bytes).expect("a write");
            }
        })
    }
}

/// An id of this moment that follows from a number.
pub fn id(at: &str, n: u64) -> Id {
    let mut random = [7; 10];
    random[2..].copy_from_slice(&n.to_be_bytes());
    Id::at(crate::phone::at(at).ms(), random)
}
