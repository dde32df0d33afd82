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

use crate::store::{self, Registered, Store, StoreError};

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
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Takes the message of a device of a farm and answers it.
///
/// # Errors
/// [`ExchangeError::Message`] for bytes that are no message, [`ExchangeError::Store`] where the
/// store fails. Single changes that cannot be taken are no error: the answer names them.
pub fn exchange(
    store: &dyn Store,
    farm: Id,
    device: Id,
    body: &[u8],
    now_ms: i64,
) -> Result<Exchanged, ExchangeError> {
    let ask = Ask::decode(body)?;
    let (brought, broken) = take::read(&ask)?;
    let write = store::write(store, farm, |log| {
        let epoch = log.epoch()?;
        // A number that this log never gave out: the store is a copy older than the phone's cursor.
        let older = !mutant("epoch_kept")
            && ask.epoch.is_some_and(|e| *e == epoch)
            && ask.cursor > log.counter()?;
        let epoch = if older { log.rotate_epoch()? } else { epoch };
        log.heard(device, now_ms)?;
        for (actors, vouched) in [(&ask.actors, false), (&ask.vouched, true)] {
            for actor in actors {
                let whose = Registered { device, vouched };
                log.register(&Actor(**actor), whose, now_ms)?;
            }
        }
        let took = take::take(log, farm, device, &brought, now_ms)?;
        Ok((epoch, older, took))
    })?;
    let (epoch, store_was_older, took) = write;

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
