use std::cell::OnceCell;
use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::sync::{Message, State as AutomergeState, SyncDoc};
use automerge::transaction::{CommitOptions, Transactable};
use automerge::{
    ActorId, Automerge, AutomergeError, ChangeHash, ROOT, ReadDoc, SaveOptions, ScalarValue, Value,
};

use super::LedgerError;
use super::ancestry::Ancestry;
use super::measure::measure;
use super::read::{genesis, header, read_change};
use crate::record::{Actor, Change, DocName, Entry, Hash, Id};

/// One document in memory.
#[derive(Debug, Clone)]
pub struct Document {
    /// The hash of its first change.
    genesis: Hash,
    name: DocName,
    automerge: Automerge,
    /// Made when it is first asked for, and dropped when a change comes.
    ancestry: OnceCell<Ancestry>,
}

/// What a saved document from outside holds.
#[derive(Debug)]
pub struct Received {
    /// Every change but the genesis, each after those that it builds on.
    pub changes: Vec<Vec<u8>>,
    /// The document in Automerge's saved form, without changes that wait for others.
    pub saved: Vec<u8>,
}

/// What is known of one document at another phone, during one exchange.
#[derive(Debug, Default)]
pub struct PeerState(AutomergeState);

impl Document {
    /// A document with nothing in it but its genesis.
    pub fn new(farm: Id, name: DocName, actor: Actor) -> Document {
        let mut automerge = Automerge::new().with_actor(ActorId::from(actor.0));
        let first = genesis(farm, &name);
        let genesis = first.hash;
        if let Ok(first) = automerge::Change::try_from(first.bytes.as_slice()) {
            // The genesis has no dependencies, so nothing can keep it from being applied.
            let _ = automerge.apply_changes([first]);
        }
        Document {
            genesis,
            name,
            automerge,
            ancestry: OnceCell::new(),
        }
    }

    /// Reads a saved document of this farm and name.
    pub fn load(
        farm: Id,
        name: DocName,
        actor: Actor,
        saved: &[u8],
    ) -> Result<Document, LedgerError> {
        let broken = |why: String| LedgerError::BrokenDocument {
            doc: name.clone(),
            why,
        };
        let mut automerge = Automerge::load(saved)
            .map_err(|e| broken(e.to_string().chars().take(120).collect()))?;
        if !automerge.get_missing_deps(&[]).is_empty() {
            // Changes that wait for something that is not here would come to life later by
            // themselves; they travel again when their time has come.
            let whole = automerge.save_with_options(SaveOptions {
                retain_orphans: false,
                ..SaveOptions::default()
            });
            automerge = Automerge::load(&whole)
                .map_err(|e| broken(e.to_string().chars().take(120).collect()))?;
        }
        automerge.set_actor(ActorId::from(actor.0));
        let document = Document {
            genesis: genesis(farm, &name).hash,
            name: name.clone(),
            automerge,
            ancestry: OnceCell::new(),
        };
        // The genesis names farm and document, and nobody can take it back: what stands under "_doc"
        // now may be a later write of a foreign program.
        if !document.has(&document.genesis) {
            return Err(broken("it is a document of another farm or month".into()));
        }
        Ok(document)
    }

    /// Reads a saved document that came from outside, and everything in it. One that would unfold to
    /// more than any farm's month is refused.
    pub fn receive(
        farm: Id,
        name: &DocName,
        actor: Actor,
        saved: &[u8],
    ) -> Result<Received, LedgerError> {
        let broken = |why: String| LedgerError::BrokenDocument {
            doc: name.clone(),
            why,
        };
        measure(saved).map_err(broken)?;
        calm(|| {
            let document = Document::load(farm, name.clone(), actor, saved)?;
            Ok(Received {
                changes: document.changes(),
                saved: document.save(),
            })
        })
        .unwrap_or_else(|| Err(broken("its columns contradict one another".into())))
    }

    /// The name of the document.
    pub fn name(&self) -> &DocName {
        &self.name
    }

    /// Writes records under their ids, in one change made at `now` (seconds since 1970 UTC).
    pub fn append(
        &mut self,
        records: &[(Id, Vec<u8>)],
        now: i64,
    ) -> Result<(Change, Vec<Entry>), LedgerError> {
        let broken = |why: String| LedgerError::BrokenDocument {
            doc: self.name.clone(),
            why,
        };
        self.ancestry.take();
        let mut tx = self.automerge.transaction();
        for (id, bytes) in records {
            tx.put(ROOT, id.to_string(), ScalarValue::Bytes(bytes.clone()))
                .map_err(|e| broken(e.to_string()))?;
        }
        tx.commit_with(CommitOptions::default().with_time(now));
        let change = self
            .automerge
            .get_last_local_change()
            .ok_or_else(|| broken("it took no change".into()))?;
        read_change(&self.name, change.raw_bytes())
    }

    /// Takes changes; all that they build on must be here or among them.
    pub fn apply<'a>(
        &mut self,
        changes: impl IntoIterator<Item = &'a [u8]>,
    ) -> Result<(), LedgerError> {
        let mut parsed = Vec::new();
        for bytes in changes {
            let change =
                automerge::Change::try_from(bytes).map_err(|e| LedgerError::BrokenChange {
                    doc: self.name.clone(),
                    why: e.to_string(),
                })?;
            parsed.push(change);
        }
        self.ancestry.take();
        self.automerge.apply_changes(parsed).map_err(|e| match e {
            AutomergeError::DuplicateSeqNumber(..) => LedgerError::Forked {
                doc: self.name.clone(),
            },
            e => LedgerError::BrokenDocument {
                doc: self.name.clone(),
                why: e.to_string(),
            },
        })?;
        let missing = self.automerge.get_missing_deps(&[]);
        if missing.is_empty() {
            return Ok(());
        }
        let missing = missing.into_iter().map(|h| Hash(h.0)).collect();
        Err(LedgerError::Missing {
            doc: self.name.clone(),
            missing,
        })
    }

    /// Whether a change is in it.
    pub fn has(&self, hash: &Hash) -> bool {
        self.automerge
            .get_change_by_hash(&ChangeHash(hash.0))
            .is_some()
    }

    /// Whether the maker of one change had seen another: whether that one is among those that it
    /// builds on, directly or not.
    pub fn saw(&self, change: &Hash, other: &Hash) -> bool {
        let ancestry = self.ancestry.get_or_init(|| Ancestry::of(&self.automerge));
        ancestry.builds_on(change, other)
    }

    /// One change of it.
    pub fn change(&self, hash: &Hash) -> Option<Change> {
        let change = self.automerge.get_change_by_hash(&ChangeHash(hash.0))?;
        let actor = Actor::from_slice(change.actor_id().to_bytes())?;
        Some(header(&self.name, &change, actor))
    }

    /// Every change but the genesis, each after those that it builds on.
    pub fn changes(&self) -> Vec<Vec<u8>> {
        self.since(&[])
    }

    /// The document in Automerge's own saved form, which any Automerge library opens.
    pub fn save(&self) -> Vec<u8> {
        self.automerge.save()
    }

    /// What the document itself holds under each key, where it is a record's bytes. Of two writes
    /// under one key Automerge shows its own winner here; the book keeps to the first facts.
    pub fn values(&self) -> Vec<(String, Vec<u8>)> {
        self.automerge
            .keys(ROOT)
            .filter(|key| !key.starts_with("_doc") && !key.starts_with("_schema"))
            .filter_map(|key| {
                let (value, _) = self.automerge.get(ROOT, key.as_str()).ok()??;
                Some((key, bytes_of(value)?))
            })
            .collect()
    }

    /// The next message to the other phone, if there is something to say.
    pub fn say(&self, peer: &mut PeerState) -> Option<Vec<u8>> {
        self.automerge
            .generate_sync_message(&mut peer.0)
            .map(Message::encode)
    }

    /// Takes a message of the other phone, and gives the changes that it brought, each after those
    /// that it builds on. After an error the document in memory is to be thrown away.
    pub fn listen(
        &mut self,
        peer: &mut PeerState,
        message: &[u8],
    ) -> Result<Vec<Vec<u8>>, LedgerError> {
        let doc = self.name.clone();
        let broken = || LedgerError::BrokenMessage { doc: doc.clone() };
        calm(|| {
            let message = Message::decode(message).map_err(|_| broken())?;
            // Changes, or in the second form of the protocol a whole document.
            for chunk in message.changes.iter() {
                measure(chunk).map_err(|_| broken())?;
            }
            let before = self.automerge.get_heads();
            self.ancestry.take();
            self.automerge
                .receive_sync_message(&mut peer.0, message)
                .map_err(|e| match e {
                    AutomergeError::DuplicateSeqNumber(..) => {
                        LedgerError::Forked { doc: doc.clone() }
                    }
                    _ => broken(),
                })?;
            Ok(self.since(&before))
        })
        .unwrap_or_else(|| Err(broken()))
    }

    /// The heads: the changes that nothing here builds on yet.
    pub fn heads(&self) -> Vec<Hash> {
        self.automerge
            .get_heads()
            .into_iter()
            .map(|h| Hash(h.0))
            .collect()
    }

    /// Changes that came after these heads, each after those that it builds on, but the genesis.
    fn since(&self, heads: &[ChangeHash]) -> Vec<Vec<u8>> {
        self.automerge
            .get_changes(heads)
            .into_iter()
            .filter(|c| c.hash().0 != self.genesis.0)
            .map(|c| c.raw_bytes().to_vec())
            .collect()
    }
}

/// Runs Automerge over bytes from outside. It panics over some documents whose columns contradict one
/// another, which it never wrote itself; that must not take the program along. (Where a panic cannot
/// be caught, as in a browser, the program starts again and nothing was changed either.)
fn calm<T>(work: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(work)).ok()
}

fn bytes_of(value: Value<'_>) -> Option<Vec<u8>> {
    match value {
        Value::Scalar(scalar) => match scalar.as_ref() {
            ScalarValue::Bytes(bytes) => Some(bytes.clone()),
            _ => None,
        },
        Value::Object(_) => None,
    }
}
