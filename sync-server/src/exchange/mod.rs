//! The server's half of the exchange that [`pointdown_core::sync`] describes: the bytes of an
//! [`Ask`] in, the bytes of an [`Answer`] out, everything taken durable in between.
//!
//! It runs in two transactions. The first takes what the phone brought, all of it or nothing; a
//! phone that brings nothing needs none. The second reads one state of the log and makes the answer
//! from it, so that cursor, changes, documents and digest belong together.

mod answer;
mod take;

use std::collections::BTreeSet;

use pointdown_core::mutants::mutant;
use pointdown_core::record::{Actor, DocName, Id};
use pointdown_core::sync::{Answer, Ask, Refusal, SyncError, VERSION, Why};
use serde_bytes::{ByteArray, ByteBuf};

use crate::store::{self, Epoch, Log, Registered, Role, Store, StoreError};
use answer::Folded;
pub(crate) use answer::document;
use take::Took;

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
    let now = now_ms;
    // Most phones only look whether there is something newer: that needs no disk.
    if brought.is_empty() {
        let quiet = store::read(store, farm, |log| {
            let Some(role) = log.standing(device)? else {
                return Ok(Quiet::ShutOut);
            };
            let logs = role != Role::Reader;
            if older(log, &ask)? || (logs && !all_registered(log, device, &ask)?) {
                return Ok(Quiet::No);
            }
            let state = State {
                epoch: log.epoch()?,
                store_was_older: false,
                logs,
                took: Took::default(),
            };
            let (done, folded) = answered(log, farm, &ask, &state, &broken, now)?;
            Ok(Quiet::Done(Box::new(done), folded))
        })?;
        match quiet {
            Quiet::ShutOut => return Err(ExchangeError::ShutOut),
            Quiet::No => {}
            Quiet::Done(done, folded) => {
                store.heard(farm, device, now)?;
                keep(store, farm, &folded)?;
                return Ok(*done);
            }
        }
    }
    let state = store::write(store, farm, |log| {
        // Looked up in the very transaction that takes the changes: who was shut out a moment ago
        // gets nothing in any more.
        let Some(role) = log.standing(device)? else {
            return Ok(None);
        };
        let logs = role != Role::Reader;
        // A number that this log never gave out: the store is a copy older than the phone's cursor.
        let store_was_older = older(log, &ask)?;
        let epoch = if store_was_older {
            log.rotate_epoch()?
        } else {
            log.epoch()?
        };
        log.heard(device, now)?;
        for (actor, whose) in named(device, &ask).filter(|_| logs) {
            log.register(&actor, whose, now)?;
        }
        let took = if logs {
            take::take(log, farm, device, &brought, now)?
        } else {
            take::none(&brought)
        };
        Ok(Some(State {
            epoch,
            store_was_older,
            logs,
            took,
        }))
    })?;
    let state = state.ok_or(ExchangeError::ShutOut)?;
    let (done, folded) = store::read(store, farm, |log| {
        answered(log, farm, &ask, &state, &broken, now)
    })?;
    keep(store, farm, &folded)?;
    Ok(done)
}

/// How it went to answer a phone without writing anything.
enum Quiet {
    /// The device does not belong to the farm any more.
    ShutOut,
    /// Something has to be written.
    No,
    Done(Box<Exchanged>, Vec<Folded>),
}

/// What was found and done before the answer.
struct State {
    epoch: Epoch,
    store_was_older: bool,
    /// Whether the device may log.
    logs: bool,
    took: Took,
}

/// Whether the phone knows more of this log than there is.
fn older(log: &dyn Log, ask: &Ask) -> Result<bool, StoreError> {
    let epoch = log.epoch()?;
    Ok(!mutant("epoch_kept")
        && ask.epoch.is_some_and(|e| *e == epoch)
        && ask.cursor > log.counter()?)
}

/// The actors that a message names, and whose they are.
fn named(device: Id, ask: &Ask) -> impl Iterator<Item = (Actor, Registered)> {
    [(&ask.actors, false), (&ask.vouched, true)]
        .into_iter()
        .flat_map(move |(actors, vouched)| {
            let whose = Registered { device, vouched };
            actors.iter().map(move |actor| (Actor(**actor), whose))
        })
}

/// Whether registering the actors of a message would change nothing.
fn all_registered(log: &dyn Log, device: Id, ask: &Ask) -> Result<bool, StoreError> {
    for (actor, whose) in named(device, ask) {
        let known = log.registered(&actor)?;
        if known.is_none_or(|known| known.vouched && !whose.vouched) {
            return Ok(false);
        }
    }
    Ok(true)
}

/// The answer from one state of the log, and saved forms worth keeping.
fn answered(
    log: &dyn Log,
    farm: Id,
    ask: &Ask,
    state: &State,
    broken: &[Refusal],
    now: i64,
) -> Result<(Exchanged, Vec<Folded>), StoreError> {
    let mut answer = Answer {
        v: VERSION,
        epoch: ByteArray::new(state.epoch),
        cursor: 0,
        more: false,
        now,
        pack: Default::default(),
        docs: Vec::new(),
        lack: Vec::new(),
        want: Vec::new(),
        refused: broken.iter().chain(&state.took.refused).cloned().collect(),
        digest: Default::default(),
    };
    let same_epoch = ask.epoch.is_none_or(|e| *e == state.epoch);
    let folded = answer::fill(log, farm, ask, same_epoch, &state.took.hashes, &mut answer)?;
    if !state.logs {
        // What is not taken need not be sent.
        answer.want.clear();
    }
    let done = Exchanged {
        taken: state.took.hashes.len(),
        refused: answer.refused.len(),
        answer: answer.encode(),
        head: log.counter()?,
        store_was_older: state.store_was_older,
    };
    Ok((done, folded))
}

/// Takes changes of one document that came another way than by the exchange, under the same rules.
/// Whoever brings them answers for their makers. Returns how many were new, and why others were not
/// taken.
pub(crate) fn take_foreign(
    store: &dyn Store,
    farm: Id,
    device: Id,
    doc: &DocName,
    changes: Vec<Vec<u8>>,
    now: i64,
) -> Result<(usize, Vec<Why>), StoreError> {
    let bytes = changes.into_iter().map(ByteBuf::from).collect();
    let (brought, broken) = take::parse(vec![(doc.clone(), bytes)]);
    let took = store::write(store, farm, |log| {
        let may = log
            .standing(device)?
            .is_some_and(|role| role != Role::Reader);
        if !may {
            return Ok(take::none(&brought));
        }
        log.heard(device, now)?;
        let makers: BTreeSet<Actor> = brought.iter().map(|change| change.actor).collect();
        for actor in makers {
            let whose = Registered {
                device,
                vouched: true,
            };
            log.register(&actor, whose, now)?;
        }
        take::take(log, farm, device, &brought, now)
    })?;
    let refused = broken.into_iter().chain(took.refused);
    Ok((took.hashes.len(), refused.map(|r| r.why).collect()))
}

/// Keeps saved forms, which only save time.
fn keep(store: &dyn Store, farm: Id, folded: &[Folded]) -> Result<(), StoreError> {
    if folded.is_empty() {
        return Ok(());
    }
    store::write(store, farm, |log| {
        for doc in folded {
            log.keep_saved(&doc.name, &doc.saved, doc.upto)?;
        }
        Ok(())
    })
}
