use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use super::exchange::digests;
use super::take::Ready;
use super::{Farm, FarmError, Taken};
use crate::ledger::{Document, PeerState};
use crate::record::DocName;
use crate::sync::Digest;
use crate::sync::peer::Envelope;

/// One exchange with another phone, without a server. Both sides take turns: send what
/// [`PeerSession::say`] gives, hand what comes to [`PeerSession::listen`], until both are done.
pub struct PeerSession<'a> {
    farm: &'a Farm,
    /// Documents that differ, open for the time of the exchange.
    open: BTreeMap<DocName, (Document, PeerState)>,
    theirs: Option<BTreeMap<DocName, Digest>>,
    said_nothing: bool,
    heard_nothing: bool,
}

impl Farm {
    /// Begins an exchange with another phone of the same farm.
    pub fn peer(&self) -> PeerSession<'_> {
        PeerSession {
            farm: self,
            open: BTreeMap::new(),
            theirs: None,
            said_nothing: false,
            heard_nothing: false,
        }
    }
}

impl PeerSession<'_> {
    /// Whether both sides have said all that they had to say.
    pub fn is_done(&self) -> bool {
        self.said_nothing && self.heard_nothing
    }

    /// What to send to the other phone now.
    pub fn say(&mut self) -> Result<Vec<u8>, FarmError> {
        let mut inner = self.farm.lock();
        let docs = inner.store.read(digests)?;
        if let Some(theirs) = &self.theirs {
            let mut differ: BTreeSet<DocName> = theirs.keys().cloned().collect();
            differ.extend(docs.iter().map(|d| d.doc.clone()));
            differ.retain(|doc| {
                let ours = docs.iter().find(|d| d.doc == *doc).map(|d| d.digest);
                ours != theirs.get(doc).copied()
            });
            for doc in differ {
                if let Entry::Vacant(entry) = self.open.entry(doc) {
                    let document = inner.read_document(entry.key())?;
                    entry.insert((document, PeerState::default()));
                }
            }
        }
        let messages: Vec<_> = self
            .open
            .iter_mut()
            .filter_map(|(doc, (document, state))| Some((doc.clone(), document.say(state)?)))
            .collect();
        self.said_nothing = messages.is_empty() && self.theirs.is_some();
        Ok(Envelope::new(inner.me.farm, docs, messages).encode())
    }

    /// Takes what the other phone sent. Changes that were not here are durable when this returns,
    /// and on their way to the server if there is one.
    pub fn listen(&mut self, bytes: &[u8]) -> Result<Taken, FarmError> {
        let taken = self.take_in(bytes);
        if taken.is_err() {
            // Documents in memory may hold what was refused.
            self.open.clear();
        }
        taken
    }

    fn take_in(&mut self, bytes: &[u8]) -> Result<Taken, FarmError> {
        let mut inner = self.farm.lock();
        let envelope = Envelope::decode(bytes, inner.me.farm)?;
        self.heard_nothing = envelope.is_done() && self.theirs.is_some();
        let mut ready = Ready::default();
        for (doc, message) in &envelope.messages {
            if !self.open.contains_key(doc) {
                let document = inner.read_document(doc)?;
                self.open
                    .insert(doc.clone(), (document, PeerState::default()));
            }
            let Some((document, state)) = self.open.get_mut(doc) else {
                continue;
            };
            let fresh = document.listen(state, message)?;
            let read = inner.ready(fresh.iter().map(|bytes| (doc, bytes.as_slice())))?;
            ready.changes.extend(read.changes);
            ready.entries.extend(read.entries);
        }
        self.theirs = Some(
            envelope
                .docs
                .into_iter()
                .map(|d| (d.doc, d.digest))
                .collect(),
        );
        if ready.changes.is_empty() {
            return Ok(Taken::default());
        }
        inner.keep_by_hand(ready)
    }
}
