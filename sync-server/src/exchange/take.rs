use std::collections::{BTreeMap, BTreeSet};

use pointdown_core::ledger::{genesis, read_change};
use pointdown_core::record::{Actor, Change, DocName, Hash, Id};
use pointdown_core::sync::{Ask, Refusal, SyncError, Why, unpack};
use serde_bytes::ByteArray;

use crate::store::{Log, NewChange, StoreError};
use pointdown_core::mutants::mutant;

/// The most bytes of one change. A record has a few hundred; an automatic import some thousands.
const MOST_CHANGE: usize = 1024 * 1024;

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
    let mut changes = Vec::new();
    let mut broken = Vec::new();
    for (doc, list) in unpack(&ask.pack)? {
        for bytes in list {
            let read = if bytes.len() > MOST_CHANGE {
                Err(format!(
                    "it has {} bytes; allowed are {MOST_CHANGE}",
                    bytes.len()
                ))
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
    Ok((changes, broken))
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
        here: BTreeSet::new(),
        numbers: BTreeMap::new(),
        roots: BTreeMap::new(),
    };
    let mut took = Took::default();
    let mut new = Vec::new();
    for change in changes {
        if taking.has(&change.doc, &change.hash)? {
            continue;
        }
        match taking.check(change)? {
            Ok(maker) => {
                took.hashes.insert(change.hash);
                let relayed = maker != device;
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
    here: BTreeSet<(&'a DocName, Hash)>,
    numbers: BTreeMap<(&'a DocName, Actor), u64>,
    roots: BTreeMap<&'a DocName, Hash>,
}

impl<'a> Taking<'a> {
    fn has(&self, doc: &'a DocName, hash: &Hash) -> Result<bool, StoreError> {
        Ok(self.here.contains(&(doc, *hash)) || self.log.has(doc, hash)?)
    }

    /// The device that made a change, or why it is not taken.
    fn check(&mut self, change: &'a Change) -> Result<Result<Id, Why>, StoreError> {
        let doc = &change.doc;
        let Some(maker) = self.log.registered(&change.actor)? else {
            return Ok(Err(Why::Unregistered(ByteArray::new(change.actor.0))));
        };
        let farm = self.farm;
        let root = *self
            .roots
            .entry(doc)
            .or_insert_with(|| genesis(farm, doc).hash);
        let mut missing = Vec::new();
        for dep in &change.deps {
            if *dep != root && !self.has(doc, dep)? {
                missing.push(ByteArray::new(dep.0));
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
        let key = (doc, change.actor);
        let number = match self.numbers.get(&key) {
            Some(n) => *n,
            None => self.log.actor_number(doc, &change.actor)?,
        };
        if change.seq != number + 1 {
            return Ok(Err(Why::Forked));
        }
        self.numbers.insert(key, change.seq);
        self.here.insert((doc, change.hash));
        // Of an actor that was only vouched for, the maker is not the one who vouched.
        Ok(Ok(if maker.vouched {
            self.farm
        } else {
            maker.device
        }))
    }
}
