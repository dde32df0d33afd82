//! Two copies of one database that wrote under the same actor.
//!
//! The note beside the file tells a copy when it is opened, but not where a whole disk was copied.
//! Then both number their changes alike, and the second of two with one number can never be taken
//! beside the first. What it says is not lost: it is written anew under a fresh actor.

use std::collections::BTreeSet;

use super::facade::{Inner, new_actor};
use super::take::{Ready, project};
use super::{Env, FarmError};
use crate::ledger::{Document, read_change};
use crate::record::{Actor, Change, DocName, Entry, Hash, Id};
use crate::sync::phone::Heard;

/// A document without the changes that cannot stay, and these as they were.
struct Parted {
    doc: DocName,
    kept: Vec<Change>,
    gone: Vec<Lost>,
}

/// A change that cannot stay.
struct Lost {
    hash: Hash,
    records: Vec<(Id, Vec<u8>)>,
    made_at: i64,
}

impl Inner {
    /// Reads what an answer brings. Where another copy of this database used a number first, what
    /// was written here under it is written anew before.
    pub(super) fn ready_beside_copy(
        &mut self,
        env: &dyn Env,
        heard: &mut Heard,
    ) -> Result<Ready, FarmError> {
        if !heard.forked.is_empty() {
            let forked = heard.forked.iter().cloned().collect();
            self.part(env, forked, heard)?;
        }
        match self.ready_all(&heard.changes, &heard.docs) {
            Err(e) => {
                let forked = self.used_first(heard)?;
                if forked.is_empty() || !self.part(env, forked, heard)? {
                    return Err(e);
                }
                self.ready_all(&heard.changes, &heard.docs)
            }
            ready => ready,
        }
    }

    /// Own changes with a number under which the answer brings another.
    fn used_first(&mut self, heard: &Heard) -> Result<BTreeSet<(DocName, Hash)>, FarmError> {
        let mut theirs: Vec<Change> = Vec::new();
        for (doc, bytes) in &heard.changes {
            theirs.push(read_change(doc, bytes)?.0);
        }
        for (doc, saved) in &heard.docs {
            for bytes in Document::receive(self.me.farm, doc, self.actor(), saved)?.changes {
                theirs.push(read_change(doc, &bytes)?.0);
            }
        }
        theirs.retain(|change| self.is_own(change.actor));
        let docs: BTreeSet<DocName> = theirs.iter().map(|change| change.doc.clone()).collect();
        let mut forked = BTreeSet::new();
        for doc in docs {
            for bytes in self.read_document(&doc)?.changes() {
                let (mine, _) = read_change(&doc, &bytes)?;
                let clash = theirs.iter().any(|change| {
                    (&change.doc, change.actor, change.seq) == (&doc, mine.actor, mine.seq)
                        && change.hash != mine.hash
                });
                if clash {
                    forked.insert((doc.clone(), mine.hash));
                }
            }
        }
        Ok(forked)
    }

    /// Writes own changes, and what was built on them here, anew under a fresh actor, all in one
    /// transaction. `false`, and nothing is changed, where another phone's changes build on them
    /// too: it holds them as they are.
    fn part(
        &mut self,
        env: &dyn Env,
        forked: BTreeSet<(DocName, Hash)>,
        heard: &mut Heard,
    ) -> Result<bool, FarmError> {
        let docs: BTreeSet<DocName> = forked.iter().map(|(doc, _)| doc.clone()).collect();
        let mut parted = Vec::new();
        for doc in docs {
            let roots = forked.iter().filter(|(d, _)| *d == doc);
            let roots = roots.map(|(_, hash)| *hash).collect();
            parted.extend(self.without(doc, roots)?);
        }
        if parted.is_empty() {
            return Ok(false);
        }
        let fresh = new_actor(env);
        let mut me = self.me.clone();
        me.actor = fresh.to_string();
        me.actors.push(me.actor.clone());
        let mut anew: Vec<Change> = Vec::new();
        let mut entries: Vec<Entry> = Vec::new();
        for part in &parted {
            let mut document = Document::new(me.farm, part.doc.clone(), fresh);
            document.apply(part.kept.iter().map(|change| change.bytes.as_slice()))?;
            for change in &part.kept {
                entries.extend(read_change(&part.doc, &change.bytes)?.1);
            }
            for lost in &part.gone {
                let (change, wrote) = document.append(&lost.records, lost.made_at)?;
                anew.push(change);
                entries.extend(wrote);
            }
        }
        let (others, _): (Vec<Entry>, Vec<Entry>) = self
            .all_entries()?
            .into_iter()
            .partition(|entry| !parted.iter().any(|part| part.doc == entry.doc));
        entries.extend(others);
        let farm = me.farm;
        let touched = self.write(|tx| {
            for part in &parted {
                tx.forget_doc(&part.doc)?;
                for change in &part.kept {
                    tx.add_change(change)?;
                }
                for lost in &part.gone {
                    tx.sent(&part.doc, &lost.hash)?;
                }
            }
            for change in &anew {
                tx.add_change(change)?;
                tx.send_later(&change.doc, &change.hash)?;
            }
            tx.set_meta("me", &me)?;
            tx.forget_view()?;
            tx.forget_meta("setting")?;
            project(tx, farm, &entries)
        })?;
        self.board.note(&touched, true);
        self.me = me;
        self.docs.clear();
        let gone = |doc: &DocName, hash: &Hash| {
            let part = parted.iter().find(|part| part.doc == *doc);
            part.is_some_and(|part| part.gone.iter().any(|lost| lost.hash == *hash))
        };
        let waits = |hash: &Option<Hash>, doc: &DocName| hash.is_some_and(|h| gone(doc, &h));
        heard
            .state
            .refused
            .retain(|(doc, hash, _)| !waits(hash, doc));
        heard.missing.retain(|(doc, hash)| !gone(doc, hash));
        heard.acked.retain(|(doc, hash)| !gone(doc, hash));
        Ok(true)
    }

    /// A document without these changes and all that build on them; nothing where one of them is
    /// not this installation's own, or wrote something that is no record.
    fn without(
        &mut self,
        doc: DocName,
        roots: BTreeSet<Hash>,
    ) -> Result<Option<Parted>, FarmError> {
        let mut out = roots;
        let (mut kept, mut gone) = (Vec::new(), Vec::new());
        for bytes in self.read_document(&doc)?.changes() {
            let (change, entries) = read_change(&doc, &bytes)?;
            if !out.contains(&change.hash) && !change.deps.iter().any(|dep| out.contains(dep)) {
                kept.push(change);
                continue;
            }
            let records: Option<Vec<(Id, Vec<u8>)>> = entries
                .iter()
                .map(|entry| Some((entry.key.parse().ok()?, entry.bytes.clone()?)))
                .collect();
            let (Some(records), true) = (records, self.is_own(change.actor)) else {
                return Ok(None);
            };
            out.insert(change.hash);
            gone.push(Lost {
                hash: change.hash,
                records,
                made_at: change.made_at,
            });
        }
        Ok((!gone.is_empty()).then_some(Parted { doc, kept, gone }))
    }

    fn is_own(&self, actor: Actor) -> bool {
        self.me.actors.contains(&actor.to_string())
    }
}
