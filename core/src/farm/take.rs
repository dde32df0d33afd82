use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::facade::{Inner, actor};
use super::{Farm, FarmError};
use crate::book::review::Setting;
use crate::ledger::{Document, LedgerError, genesis, read_change};
use crate::record::{Actor, Body, Change, DocName, Entry, Hash, Id, Record, Zone};
use crate::store::{Kept, Tx};
use crate::trade::rules::{HousePolicy, RulePack, in_force};

/// What came of taking changes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Taken {
    /// Changes that were not here before.
    pub changes: usize,
    /// Records that stand differently now.
    pub records: BTreeSet<Id>,
}

/// Changes checked against what is here, ready to be kept.
#[derive(Default)]
pub(super) struct Ready {
    pub(super) changes: Vec<Change>,
    pub(super) entries: Vec<Entry>,
    /// Whole documents that were not here at all: kept as they came, not change by change.
    whole: Vec<(DocName, Vec<u8>)>,
}

impl Farm {
    /// Takes changes of others, each after those that it builds on. All are kept, in one
    /// transaction, or none: a broken one, or one that builds on something missing, is an error.
    pub fn take(&self, changes: &[(DocName, Vec<u8>)]) -> Result<Taken, FarmError> {
        let mut inner = self.lock();
        let ready = inner.ready(changes.iter().map(|(doc, bytes)| (doc, bytes.as_slice())))?;
        inner.keep(ready, false, |_| Ok(()))
    }
}

impl Inner {
    /// The document in memory; read from the database if it is not there yet.
    pub(super) fn document(&mut self, name: &DocName) -> Result<&mut Document, FarmError> {
        if !self.docs.contains_key(name) {
            // Two or three documents are in use at a time; the others only cost memory.
            while self.docs.len() >= 4 {
                self.docs.pop_first();
            }
            let document = self.read_document(name)?;
            self.docs.insert(name.clone(), document);
        }
        Ok(self
            .docs
            .entry(name.clone())
            .or_insert_with(|| Document::new(self.me.farm, name.clone(), actor(&self.me.actor))))
    }

    /// A document as the database has it.
    pub(super) fn read_document(&mut self, name: &DocName) -> Result<Document, FarmError> {
        let kept = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.load_doc(name)?))?;
        Ok(open(self.me.farm, name, self.actor(), &kept)?)
    }

    /// Whether a change is here, alone or folded into the saved form of its document.
    pub(super) fn has(&mut self, doc: &DocName, hash: &Hash) -> Result<bool, FarmError> {
        let (alone, saved) = self
            .store
            .read::<_, FarmError>(|tx| Ok((tx.has_change(doc, hash)?, tx.is_folded(doc)?)))?;
        Ok(alone || (saved && self.document(doc)?.has(hash)))
    }

    /// The Lamport counter of the last write of a change; nothing where it is not here.
    fn last_op(&mut self, doc: &DocName, hash: &Hash) -> Result<Option<u64>, FarmError> {
        let (alone, op, saved) = self.store.read::<_, FarmError>(|tx| {
            Ok((
                tx.has_change(doc, hash)?,
                tx.last_op(doc, hash)?,
                tx.is_folded(doc)?,
            ))
        })?;
        match op {
            None if alone || saved => Ok(self.document(doc)?.change(hash).map(|c| c.last_op)),
            op => Ok(op),
        }
    }

    /// Reads and checks changes; nothing is kept yet.
    pub(super) fn ready<'a>(
        &mut self,
        changes: impl IntoIterator<Item = (&'a DocName, &'a [u8])>,
    ) -> Result<Ready, FarmError> {
        let mut ready = Ready::default();
        let mut here: BTreeMap<(DocName, Hash), u64> = BTreeMap::new();
        let mut numbers: BTreeMap<(DocName, Actor), u64> = BTreeMap::new();
        let mut firsts: BTreeMap<&DocName, Change> = BTreeMap::new();
        for (doc, bytes) in changes {
            let (change, entries) = read_change(doc, bytes)?;
            let key = (doc.clone(), change.hash);
            if here.contains_key(&key) || self.has(doc, &change.hash)? {
                continue;
            }
            let farm = self.me.farm;
            let first = firsts.entry(doc).or_insert_with(|| genesis(farm, doc));
            let mut missing = Vec::new();
            let mut last_op = 0;
            for dep in &change.deps {
                let op = match here.get(&(doc.clone(), *dep)) {
                    Some(op) => Some(*op),
                    None if *dep == first.hash => Some(first.last_op),
                    None => self.last_op(doc, dep)?,
                };
                match op {
                    Some(op) => last_op = op.max(last_op),
                    None => missing.push(*dep),
                }
            }
            if !missing.is_empty() || change.deps.is_empty() {
                return Err(LedgerError::Missing {
                    doc: doc.clone(),
                    missing,
                }
                .into());
            }
            // A saved document leaves this number out and works it out again, so that one forged
            // number would make it unreadable for everyone.
            if change.first_op != last_op + 1 {
                return Err(LedgerError::BrokenChange {
                    doc: doc.clone(),
                    why: format!(
                        "its writes are numbered from {}, due is {}",
                        change.first_op,
                        last_op + 1
                    ),
                }
                .into());
            }
            let number = match numbers.get(&(doc.clone(), change.actor)) {
                Some(n) => *n,
                None => self
                    .store
                    .read::<_, FarmError>(|tx| Ok(tx.actor_number(doc, &change.actor)?))?,
            };
            if change.seq != number + 1 {
                return Err(LedgerError::Forked { doc: doc.clone() }.into());
            }
            numbers.insert((doc.clone(), change.actor), change.seq);
            here.insert(key, change.last_op);
            ready.changes.push(change);
            ready.entries.extend(entries);
        }
        Ok(ready)
    }

    /// Reads and checks a whole document; nothing is kept yet.
    pub(super) fn ready_document(
        &mut self,
        name: &DocName,
        saved: &[u8],
        ready: &mut Ready,
    ) -> Result<(), FarmError> {
        let received = Document::receive(self.me.farm, name, self.actor(), saved)?;
        let is_new = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.doc_sum(name)?.is_none()))?;
        let read = self.ready(
            received
                .changes
                .iter()
                .map(|bytes| (name, bytes.as_slice())),
        )?;
        if is_new {
            ready.whole.push((name.clone(), received.saved));
        }
        ready.changes.extend(read.changes);
        ready.entries.extend(read.entries);
        Ok(())
    }

    /// Keeps what [`Inner::ready`] read, and does `also` in the same transaction. With `send`, the
    /// changes are on their way to the server too, if there is one.
    pub(super) fn keep(
        &mut self,
        ready: Ready,
        send: bool,
        also: impl FnOnce(&Tx<'_>) -> Result<(), FarmError>,
    ) -> Result<Taken, FarmError> {
        let farm = self.me.farm;
        let taken = self.write(|tx| {
            let send = send && super::exchange::joined(tx)?;
            for change in &ready.changes {
                tx.add_change(change)?;
                if send {
                    tx.send_later(&change.doc, &change.hash)?;
                }
            }
            for (doc, saved) in &ready.whole {
                tx.fold_doc(doc, saved)?;
            }
            let records = project(tx, farm, &ready.entries)?;
            also(tx)?;
            Ok(Taken {
                changes: ready.changes.len(),
                records,
            })
        })?;
        self.board.note(&taken.records, false);
        // Documents in memory follow the database, never the other way round.
        let mut by_doc: BTreeMap<&DocName, Vec<&[u8]>> = BTreeMap::new();
        for change in &ready.changes {
            by_doc.entry(&change.doc).or_default().push(&change.bytes);
        }
        for (doc, changes) in by_doc {
            if self
                .docs
                .get_mut(doc)
                .is_some_and(|document| document.apply(changes).is_err())
            {
                self.docs.remove(doc);
            }
        }
        Ok(taken)
    }
}

/// A document from what the store keeps of it.
pub(super) fn open(
    farm: Id,
    name: &DocName,
    actor: Actor,
    kept: &Kept,
) -> Result<Document, LedgerError> {
    let mut document = match &kept.saved {
        Some(saved) => Document::load(farm, name.clone(), actor, saved)?,
        None => Document::new(farm, name.clone(), actor),
    };
    document.apply(kept.changes.iter().map(Vec::as_slice))?;
    Ok(document)
}

/// Lets entries into the book. Where they change the farm's zone or rules, every farm day may be
/// another one and every record be held against other rules, so the whole book is made anew.
pub(super) fn project(tx: &Tx<'_>, farm: Id, entries: &[Entry]) -> Result<BTreeSet<Id>, FarmError> {
    let before: Chosen = tx.meta("setting")?.unwrap_or_default();
    let touched = tx.project(&before.setting(), entries)?;
    let mut open = BTreeMap::new();
    tx.find_twins(&touched, &mut |tx, one, other| {
        super::review::apart(tx, farm, &mut open, one, other)
    })?;
    if touched.contains(&farm) {
        let now = Chosen::of(tx, farm)?;
        if now != before {
            tx.set_meta("setting", &now)?;
            tx.count_anew(&now.setting())?;
        }
    }
    Ok(touched)
}

/// What the farm's own record says about zone and rules, as remembered beside the book.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Chosen {
    zone: Option<Zone>,
    rule_pack: Option<String>,
    rules: Option<RulePack>,
    house: Option<HousePolicy>,
}

impl Chosen {
    fn of(tx: &Tx<'_>, farm: Id) -> Result<Chosen, FarmError> {
        let row = tx.record(farm)?.filter(|row| row.standing == "live");
        let body = row
            .and_then(|row| Record::read(row.id, &row.fields).ok())
            .map(|r| r.body);
        Ok(match body {
            Some(Body::Farm(farm)) => Chosen {
                zone: Some(farm.zone),
                rule_pack: farm.rule_pack,
                rules: farm.rules.map(|rules| *rules),
                house: farm.house,
            },
            _ => Chosen::default(),
        })
    }

    /// The setting; UTC and no rules where nothing was chosen or has arrived.
    pub(crate) fn setting(&self) -> Setting {
        let code = self.rule_pack.as_deref();
        Setting {
            zone: self.zone.unwrap_or(Zone::UTC),
            // A farm that says custom and gives no rules has none.
            pack: code.and_then(|code| in_force(code, self.rules.as_ref()).ok()),
            house: self.house.clone().unwrap_or_default(),
        }
    }
}
