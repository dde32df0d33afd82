//! The server's half of the exchange that [`pointdown_core::sync`] describes: the bytes of an
//! [`Ask`] in, the bytes of an [`Answer`] out, everything taken durable in between.
//!
//! It runs in two transactions. The first takes what the phone brought, all of it or nothing. The
//! second reads one state of the log and makes the answer from it, so that cursor, changes,
//! documents and digest belong together.

mod answer;
mod take;

use pointdown_core::mutants::mutant;
use pointdown_core::record::{Actor, Id};
use pointdown_core::sync::{Answer, Ask, SyncError, VERSION};
use serde_bytes::ByteArray;

use crate::store::{self, Registered, Role, Store, StoreError};

pub(crate) use answer::document;

/// What came of an exchange.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exchanged {
    /// The bytes of the answer.
    pub answer: Vec<u8>,
    /// How many changes were new here.
    pub taken: usize,
    /// How many changes were refused.
    pub refused: usize,
    /// The number of the farm's last change.
    pub head: u64,
    /// Whether the phone knew more of the log than the store holds, which proves that the store is
    /// an older copy; it has a new epoch now.
    pub store_was_older: bool,
}

/// Why an exchange did not happen. Nothing was changed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ExchangeError {
    /// The message cannot be used.
    #[error(transparent)]
    Message(#[from] SyncError),
    /// A list in the message is longer than any phone sends.
    #[error("{list}: {found} are not allowed in one message; allowed are {most}")]
    TooMany {
        /// Which list.
        list: &'static str,
        /// How many there are.
        found: usize,
        /// How many there may be.
        most: usize,
    },
    /// The device was shut out meanwhile, or is not of this farm.
    #[error("this device does not belong to the farm any more")]
    ShutOut,
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// The most actors, documents to compare, and documents to fetch in one message: a phone has one
/// document a month, and a few actors.
const MOST_NAMES: usize = 10_000;

/// Nobody has to work through lists that no phone would send.
fn within_bounds(ask: &Ask) -> Result<(), ExchangeError> {
    for (list, found) in [
        ("actors", ask.actors.len()),
        ("vouched", ask.vouched.len()),
        ("check", ask.check.as_ref().map_or(0, Vec::len)),
        ("fetch", ask.fetch.len()),
    ] {
        if found > MOST_NAMES {
            return Err(ExchangeError::TooMany {
                list,
                found,
                most: MOST_NAMES,
            });
        }
    }
    Ok(())
}

/// Takes the message of a device of a farm and answers it.
///
/// # Errors
/// [`ExchangeError::Message`] for bytes that are no message, [`ExchangeError::Store`] where the
/// store fails, [`ExchangeError::ShutOut`] and
/// [`ExchangeError::TooMany`] as they say. Single changes that cannot be taken are no error: the answer names them.
pub fn exchange(
    store: &dyn Store,
    farm: Id,
    device: Id,
    body: &[u8],
    now_ms: i64,
) -> Result<Exchanged, ExchangeError> {
    let ask = Ask::decode(body)?;
    within_bounds(&ask)?;
    let (brought, broken) = take::read(&ask)?;
    let write = store::write(store, farm, |log| {
        // Looked up in the very transaction that takes the changes: who was shut out a moment ago
        // gets nothing in any more.
        let Some(role) = log.standing(device)? else {
            return Ok(None);
        };
        let epoch = log.epoch()?;
        // A number that this log never gave out: the store is a copy older than the phone's cursor.
        let older = !mutant("epoch_kept")
            && ask.epoch.is_some_and(|e| *e == epoch)
            && ask.cursor > log.counter()?;
        let epoch = if older { log.rotate_epoch()? } else { epoch };
        log.heard(device, now_ms)?;
        let logs = role != Role::Reader;
        for (actors, vouched) in [(&ask.actors, false), (&ask.vouched, true)] {
            for actor in actors.iter().filter(|_| logs) {
                let whose = Registered { device, vouched };
                log.register(&Actor(**actor), whose, now_ms)?;
            }
        }
        let took = if logs {
            take::take(log, farm, device, &brought, now_ms)?
        } else {
            take::none(&brought)
        };
        Ok(Some((epoch, older, took, logs)))
    })?;
    let (epoch, store_was_older, took, logs) = write.ok_or(ExchangeError::ShutOut)?;

    let mut refused = broken;
    refused.extend(took.refused);
    let mut answer = Answer {
        v: VERSION,
        epoch: ByteArray::new(epoch),
        cursor: 0,
        more: false,
        now: now_ms,
        pack: Default::default(),
        docs: Vec::new(),
        lack: Vec::new(),
        want: Vec::new(),
        refused,
        digest: Default::default(),
    };
    let same_epoch = ask.epoch.is_none_or(|e| *e == epoch);
    let mut folded = Vec::new();
    let head = store::read(store, farm, |log| {
        folded = answer::fill(log, farm, &ask, same_epoch, &took.hashes, &mut answer)?;
        log.counter()
    })?;
    if !logs {
        // What is not taken need not be sent.
        answer.want.clear();
    }
    if !folded.is_empty() {
        store::write(store, farm, |log| {
            for doc in &folded {
                log.keep_saved(&doc.name, &doc.saved, doc.upto)?;
            }
            Ok(())
        })?;
    }
    Ok(Exchanged {
        taken: took.hashes.len(),
        refused: answer.refused.len(),
        answer: answer.encode(),
        head,
        store_was_older,
    })
}
