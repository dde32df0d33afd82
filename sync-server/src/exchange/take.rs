use std::collections::{BTreeMap, BTreeSet};

use pointdown_core::ledger::{genesis, read_change};
use pointdown_core::record::{Actor, Change, DocName, Hash, Id};
use pointdown_core::sync::{Ask, Packed, Refusal, SyncError, Why, unpack};
use serde_bytes::ByteArray;

use crate::store::{Log, NewChange, Registered, StoreError};
use pointdown_core::mutants::mutant;

/// The most bytes of one change. A record has a few hundred; an automatic import some thousands.
const MOST_CHANGE: usize = 1024 * 1024;

/// The most bytes of a change that is compressed, since it may unfold to a thousand times as many.
const MOST_COMPRESSED: usize = 64 * 1024;

/// The type of a compressed change, in the ninth byte of its chunk.
const COMPRESSED: u8 = 2;

/// What was taken and what was not.
#[derive(Debug, Default)]
pub(super) struct Took {
    /// Changes that were new here.
    pub(super) hashes: BTreeSet<Hash>,
    /// Changes that were refused, by name.
    pub(super) refused: Vec<Refusal>,
}

/// Reads the changes of a message, and refuses those that are none.
pub(super) fn read(ask: &Ask) -> Result<(Vec<Change>, Vec<Refusal>), SyncError> {
    Ok(parse(unpack(&ask.pack)?))
}

/// Reads changes, and refuses those that are none.
pub(super) fn parse(packed: Packed) -> (Vec<Change>, Vec<Refusal>) {
    let mut changes = Vec::new();
    let mut broken = Vec::new();
    for (doc, list) in packed {
        for bytes in list {
            let most = match bytes.get(8) {
                Some(&COMPRESSED) => MOST_COMPRESSED,
                _ => MOST_CHANGE,
            };
            let read = if bytes.len() > most {
                Err(format!("it has {} bytes; allowed are {most}", bytes.len()))
            } else {
                read_change(&doc, &bytes)
                    .map(|(change, _)| change)
                    .map_err(|e| e.to_string())
            };
            match read {
                Ok(change) => changes.push(change),
                Err(why) => broken.push(Refusal {
                    doc: doc.clone(),
                    hash: None,
                    why: Why::Broken(why),
                }),
            }
        }
    }
    (changes, broken)
}

/// Takes nothing, of a device that may only read.
pub(super) fn none(changes: &[Change]) -> Took {
    let refused = changes.iter().map(|change| Refusal {
        doc: change.doc.clone(),
        hash: Some(ByteArray::new(change.hash.0)),
        why: Why::ReadOnly,
    });
    Took {
        hashes: BTreeSet::new(),
        refused: refused.collect(),
    }
}

/// Takes changes in order; each must build on what is there.
pub(super) fn take(
    log: &dyn Log,
    farm: Id,
    device: Id,
    changes: &[Change],
    now_ms: i64,
) -> Result<Took, StoreError> {
    let mut taking = Taking {
        log,
        farm,
        here: BTreeMap::new(),
        numbers: BTreeMap::new(),
        roots: BTreeMap::new(),
    };
    let mut took = Took::default();
    let mut new = Vec::new();
    if !changes.is_empty() {
        log.ask_ahead(changes)?;
    }
    for change in changes {
        if taking.last_op(&change.doc, &change.hash)?.is_some() {
            continue;
        }
        match taking.check(change)? {
            Ok(maker) => {
                took.hashes.insert(change.hash);
                let relayed = maker.vouched || maker.device != device;
                new.push(NewChange { change, relayed });
            }
            Err(why) => took.refused.push(Refusal {
                doc: change.doc.clone(),
                hash: Some(ByteArray::new(change.hash.0)),
                why,
            }),
        }
    }
    if !new.is_empty() {
        log.append(device, &new, now_ms)?;
    }
    Ok(took)
}

/// The log together with what this message adds to it.
struct Taking<'a> {
    log: &'a dyn Log,
    farm: Id,
    /// Changes of this message that are taken, with the Lamport counter of their last write.
    here: BTreeMap<(&'a DocName, Hash), u64>,
    numbers: BTreeMap<(&'a DocName, Actor), u64>,
    roots: BTreeMap<&'a DocName, Change>,
}

impl<'a> Taking<'a> {
    fn last_op(&self, doc: &'a DocName, hash: &Hash) -> Result<Option<u64>, StoreError> {
        match self.here.get(&(doc, *hash)) {
            Some(op) => Ok(Some(*op)),
            None => self.log.last_op(doc, hash),
        }
    }

    /// Who registered the maker of a change, or why it is not taken.
    fn check(&mut self, change: &'a Change) -> Result<Result<Registered, Why>, StoreError> {
        let doc = &change.doc;
        let Some(maker) = self.log.registered(&change.actor)? else {
            return Ok(Err(Why::Unregistered(ByteArray::new(change.actor.0))));
        };
        let farm = self.farm;
        let root = self.roots.entry(doc).or_insert_with(|| genesis(farm, doc));
        let (root, root_op) = (root.hash, root.last_op);
        let mut missing = Vec::new();
        let mut last_op = 0;
        for dep in &change.deps {
            let op = if *dep == root {
                Some(root_op)
            } else {
                self.last_op(doc, dep)?
            };
            match op {
                Some(op) => last_op = op.max(last_op),
                None => missing.push(ByteArray::new(dep.0)),
            }
        }
        if !missing.is_empty() && !mutant("dependency_unchecked") {
            return Ok(Err(Why::Missing(missing)));
        }
        // Every document starts from the genesis, so a change that builds on nothing is of another.
        if change.deps.is_empty() {
            let why = "it builds on nothing: it is of a document that started otherwise".into();
            return Ok(Err(Why::Broken(why)));
        }
        // Phones refuse such a change too: here it must not get between them.
        if change.first_op != last_op + 1 && !mutant("dependency_unchecked") {
            let (from, due) = (change.first_op, last_op + 1);
            let why = format!("its writes are numbered from {from}, due is {due}");
            return Ok(Err(Why::Broken(why)));
        }
        let key = (doc, change.actor);
        let number = match self.numbers.get(&key) {
            Some(n) => *n,
            None => self.log.actor_number(doc, &change.actor)?,
        };
        if change.seq != number + 1 {
            return Ok(Err(Why::Forked));
        }
        self.numbers.insert(key, change.seq);
        self.here.insert((doc, change.hash), change.last_op);
        Ok(Ok(maker))
    }
}
