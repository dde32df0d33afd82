//! What one client of the open door sees of its farm's documents.
//!
//! A client may send anything, and what it sent cannot be taken out of an Automerge document again.
//! So each connection has copies of its own: the store takes from them only what it would take from
//! a phone, and the rest ends with the connection.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use pointdown_core::ledger::{Document, PeerState};
use pointdown_core::record::{DocName, Id};
use pointdown_core::sync::{Digest, Why};

use crate::exchange::{self, document};
use crate::store::{self, Log, Store, StoreError};

/// The most documents of one client that are in memory.
const MOST: usize = 8;

/// How long a document stays in memory that nobody speaks of.
const IDLE: Duration = Duration::from_secs(120);

/// The documents of one client.
pub(super) struct Shadows {
    pub(super) farm: Id,
    pub(super) device: Id,
    /// Whether what it writes is taken.
    pub(super) writes: bool,
    open: BTreeMap<DocName, Shadow>,
}

struct Shadow {
    /// How the client calls it.
    id: String,
    document: Option<Document>,
    peer: PeerState,
    /// What of the store is in it.
    digest: Digest,
    used: Instant,
}

/// What is to be sent, and what came of a message.
#[derive(Default)]
pub(super) struct Heard {
    /// Sync messages, each with the id of its document.
    pub(super) messages: Vec<(String, Vec<u8>)>,
    /// Ids of documents that are not there for this client.
    pub(super) unavailable: Vec<String>,
    /// What was not taken, in words.
    pub(super) refused: Vec<String>,
    /// How many changes the store took.
    pub(super) taken: usize,
}

/// Why a connection cannot go on.
#[derive(Debug, thiserror::Error)]
pub(super) enum Broken {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("{0}")]
    Message(String),
}

impl Shadows {
    pub(super) fn new(farm: Id, device: Id, writes: bool) -> Shadows {
        Shadows {
            farm,
            device,
            writes,
            open: BTreeMap::new(),
        }
    }

    /// Takes a sync message of a document. One of another farm, and one that is not there, look the
    /// same: nothing is loaded before the document is known to be this farm's.
    pub(super) fn hear(
        &mut self,
        store: &dyn Store,
        id: &str,
        asked: Option<Id>,
        message: &[u8],
        now: i64,
    ) -> Result<Heard, Broken> {
        let mut heard = Heard::default();
        let farm = self.farm;
        let known = store::read(store, farm, |log| {
            let mut docs = log.docs()?.into_iter();
            Ok(docs.find(|doc| asked == Some(doc.doc.id(farm))))
        })?;
        let Some(known) = known else {
            heard.unavailable.push(id.to_string());
            return Ok(heard);
        };
        let name = known.doc;
        self.make_room(&name);
        let shadow = self.open.entry(name.clone()).or_insert_with(|| Shadow {
            id: id.to_string(),
            document: None,
            peer: PeerState::default(),
            digest: Digest::default(),
            used: Instant::now(),
        });
        shadow.used = Instant::now();
        store::read(store, farm, |log| shadow.follow(log, farm, &name))?;
        let Some(document) = &mut shadow.document else {
            return Ok(heard);
        };
        let brought = document
            .listen(&mut shadow.peer, message)
            .map_err(|e| Broken::Message(e.to_string()))?;
        if !brought.is_empty() && !self.writes {
            heard.refused.push(format!(
                "{} changes of {name} were not taken: this server lets programs only read here",
                brought.len()
            ));
        } else if !brought.is_empty() {
            let (taken, refused) =
                exchange::take_foreign(store, farm, self.device, &name, brought, now)?;
            heard.taken = taken;
            heard.refused = refused.iter().map(|why| said(&name, why)).collect();
            store::read(store, farm, |log| shadow.follow(log, farm, &name))?;
        }
        heard.messages.extend(shadow.say());
        Ok(heard)
    }

    /// What is new in the store, as messages.
    pub(super) fn news(&mut self, store: &dyn Store) -> Result<Heard, Broken> {
        let mut heard = Heard::default();
        let farm = self.farm;
        store::read(store, farm, |log| {
            heard.messages.clear();
            for known in log.docs()? {
                let Some(shadow) = self.open.get_mut(&known.doc) else {
                    continue;
                };
                if shadow.digest != known.digest {
                    shadow.follow(log, farm, &known.doc)?;
                    heard.messages.extend(shadow.say());
                }
            }
            Ok(())
        })?;
        Ok(heard)
    }

    /// Drops documents that nobody spoke of for a while. What the client knows of them is kept: it
    /// hears of news all the same.
    pub(super) fn drop_idle(&mut self) {
        for shadow in self.open.values_mut() {
            if shadow.used.elapsed() > IDLE {
                shadow.drop_document();
            }
        }
    }

    fn make_room(&mut self, for_this: &DocName) {
        loop {
            let loaded = self
                .open
                .iter_mut()
                .filter(|(name, shadow)| shadow.document.is_some() && *name != for_this);
            let mut loaded: Vec<&mut Shadow> = loaded.map(|(_, shadow)| shadow).collect();
            if loaded.len() < MOST {
                return;
            }
            loaded.sort_by_key(|shadow| shadow.used);
            if let Some(oldest) = loaded.first_mut() {
                oldest.drop_document();
            }
        }
    }
}

impl Shadow {
    /// Takes what the store has and this copy lacks.
    fn follow(&mut self, log: &dyn Log, farm: Id, name: &DocName) -> Result<(), StoreError> {
        let docs = log.docs()?;
        let known = docs.iter().find(|doc| doc.doc == *name);
        let digest = known.map(|doc| doc.digest).unwrap_or_default();
        if self.document.is_some() && self.digest == digest {
            return Ok(());
        }
        let fresh = document(farm, name, &log.doc(name)?)?;
        match &mut self.document {
            Some(document) => {
                let all = fresh.changes();
                let applied = document.apply(all.iter().map(Vec::as_slice));
                // The client wrote what contradicts the store: its own copy is of no use any more.
                if applied.is_err() {
                    self.peer = PeerState::default();
                    self.document = Some(fresh);
                }
            }
            None => self.document = Some(fresh),
        }
        self.digest = digest;
        Ok(())
    }

    fn say(&mut self) -> Option<(String, Vec<u8>)> {
        let message = self.document.as_ref()?.say(&mut self.peer)?;
        Some((self.id.clone(), message))
    }

    fn drop_document(&mut self) {
        self.document = None;
        self.digest = Digest::default();
    }
}

fn said(name: &DocName, why: &Why) -> String {
    let why = match why {
        Why::Missing(_) => "it builds on changes that are not here",
        Why::Unregistered(_) => "nobody of this farm registered its maker",
        Why::ReadOnly => "this device may only read",
        Why::Forked => "its maker made another change under the same number",
        Why::Broken(why) => why,
    };
    format!("a change of {name} was not taken: {why}")
}
