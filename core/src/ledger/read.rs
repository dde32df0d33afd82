use std::cell::RefCell;

use automerge::legacy::{Key, ObjectId, OpType};
use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ROOT, ScalarValue};

use super::LedgerError;
use super::measure::measure;
use crate::mutants::mutant;
use crate::record::{Actor, Change, DocName, Entry, Hash, Id};

/// The version of the layout that [`super`] draws.
const SCHEMA: u64 = 1;

/// The first change of a document. It is the same on every device, so that phones that start apart
/// build on one root; it is never sent, since everyone can make it.
pub fn genesis(farm: Id, doc: &DocName) -> Change {
    // Asked for at each document that is opened and each change that is taken.
    const KEPT: usize = 8;
    thread_local! {
        static MADE: RefCell<Vec<(Id, Change)>> = const { RefCell::new(Vec::new()) };
    }
    MADE.with_borrow_mut(|made| {
        let of = |(whose, change): &&(Id, Change)| *whose == farm && change.doc == *doc;
        if let Some((_, change)) = made.iter().find(of) {
            return change.clone();
        }
        let change = make_genesis(farm, doc);
        if made.len() == KEPT {
            made.remove(0);
        }
        made.push((farm, change.clone()));
        change
    })
}

fn make_genesis(farm: Id, doc: &DocName) -> Change {
    let mut automerge = Automerge::new().with_actor(ActorId::from([0u8; 16]));
    let mut tx = automerge.transaction();
    let id = doc.id(farm);
    // Putting a scalar into the root of a fresh document cannot fail.
    let _ = tx.put(ROOT, "_doc", ScalarValue::Bytes(id.bytes().to_vec()));
    let _ = tx.put(ROOT, "_schema", SCHEMA);
    tx.commit_with(CommitOptions::default().with_time(0));
    let change = automerge.get_changes(&[]).swap_remove(0);
    header(doc, &change, Actor([0; 16]))
}

pub(super) fn header(doc: &DocName, change: &automerge::Change, actor: Actor) -> Change {
    Change {
        doc: doc.clone(),
        hash: Hash(change.hash().0),
        actor,
        seq: change.seq(),
        deps: change.deps().iter().map(|h| Hash(h.0)).collect(),
        first_op: change.start_op().get(),
        last_op: change.max_op(),
        made_at: change.timestamp(),
        bytes: change.raw_bytes().to_vec(),
    }
}

/// Reads a change that came from outside: its header, checked against its hash, and what it wrote.
pub fn read_change(doc: &DocName, bytes: &[u8]) -> Result<(Change, Vec<Entry>), LedgerError> {
    let broken = |why: &str| LedgerError::BrokenChange {
        doc: doc.clone(),
        why: why.to_string(),
    };
    // A few bytes may claim operations without number, all of which Automerge would read.
    measure(bytes).map_err(|why| broken(&why))?;
    // The header of a chunk carries the first four bytes of its hash, which Automerge does not look
    // at here, and says how long the chunk is: a longer buffer would hold something else too.
    let change = automerge::Change::try_from(bytes)
        .map_err(|e| broken(&e.to_string().chars().take(120).collect::<String>()))?;
    if bytes.get(4..8) != Some(&change.hash().0[..4]) && !mutant("checksum_unread") {
        return Err(broken("its checksum is wrong"));
    }
    // A document keeps operations, not bytes, and makes its changes anew from them. A change that does
    // not come out the same (an unknown column, an odd encoding) would leave the document unreadable.
    if automerge::Change::from(change.decode()).hash() != change.hash() {
        return Err(broken("it is not in the form that Automerge itself writes"));
    }
    let exact = change.raw_bytes() == bytes || compressed(&change) == bytes;
    if !exact {
        return Err(broken("bytes beyond the end"));
    }
    let actor = Actor::from_slice(change.actor_id().to_bytes())
        .filter(|a| *a != Actor([0; 16]))
        .ok_or_else(|| broken("an actor has 16 bytes"))?;
    if change.seq() == 0 {
        return Err(broken("numbers of changes start at 1"));
    }
    let entries = entries(doc, &change, actor);
    Ok((header(doc, &change, actor), entries))
}

fn compressed(change: &automerge::Change) -> Vec<u8> {
    change.clone().bytes().into_owned()
}

/// The records that a change wrote. A write that is no record (by a foreign program) is an entry
/// without bytes, so that it can be refused by name.
fn entries(doc: &DocName, change: &automerge::Change, actor: Actor) -> Vec<Entry> {
    let hash = Hash(change.hash().0);
    let start = change.start_op().get();
    change
        .decode()
        .operations
        .iter()
        .enumerate()
        .filter(|(_, op)| op.obj == ObjectId::Root)
        .filter_map(|(n, op)| {
            let Key::Map(key) = &op.key else { return None };
            let bytes = match &op.action {
                OpType::Put(ScalarValue::Bytes(bytes)) => Some(bytes.clone()),
                _ => None,
            };
            Some(Entry {
                doc: doc.clone(),
                key: key.to_string(),
                bytes,
                hash,
                actor,
                op: start + n as u64,
                made_at: change.timestamp(),
            })
        })
        .collect()
}
