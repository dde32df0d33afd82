use serde::{Deserialize, Serialize};

use super::facade::{Inner, actor};
use super::take::Ready;
use super::{ErrorKind, Farm, FarmError};
use crate::mutants::mutant;
use crate::record::{Actor, Change, DocName, Draft, Hash, Instant, Kind};
use crate::store::Tx;
use crate::sync::phone::{MOST_BYTES, MOST_CHANGES, State, Unsent};
use crate::sync::{Digest, DocDigest};

/// The server that this installation has joined.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Joined {
    pub(super) url: String,
    pub(super) token: String,
    /// The key that the server must have, as 64 hexadecimal digits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) pin: Option<String>,
    /// When this device got the token, milliseconds since 1970 UTC.
    #[serde(default)]
    pub(super) since: i64,
}

/// After how many days a device takes a fresh token.
const TOKEN_DAYS: i64 = 30;

impl Joined {
    /// Whether the token should be renewed.
    pub(super) fn is_old(&self, now: Instant) -> bool {
        now.ms() - self.since > TOKEN_DAYS * 24 * 60 * 60 * 1000
    }
}

/// A message on its way.
pub(super) struct Underway {
    sent: Vec<(DocName, Hash)>,
    told: Vec<Actor>,
    asked_ms: i64,
    checked: bool,
}

/// What came of an answer.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Heard {
    /// Changes that were not here before.
    pub changes: usize,
    /// Whether to ask again at once.
    pub again: bool,
}

/// What is synced and what is not, for a quiet line on the screen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Status {
    /// The address of the server, if one was joined.
    pub server: Option<String>,
    /// Changes that wait to be sent.
    pub waiting: u64,
    /// When the server last answered, milliseconds since 1970 UTC by this device's clock.
    pub heard_at: Option<i64>,
    /// Server clock minus this device's clock, milliseconds.
    pub offset_ms: Option<i64>,
    /// Whether both sides were found to hold the same at the last exchange.
    pub agreed: bool,
    /// Changes that the server did not take, and why.
    pub refused: Vec<String>,
}

/// Notes the server; everything is held against it at the next exchange.
pub(super) fn remember_server(tx: &Tx<'_>, joined: &Joined) -> Result<(), FarmError> {
    let told: Vec<String> = Vec::new();
    tx.set_meta("server", joined)?;
    tx.set_meta("told", &told)?;
    Ok(tx.set_meta("sync", &State::default())?)
}

pub(super) fn joined(tx: &Tx<'_>) -> Result<bool, FarmError> {
    Ok(tx.meta::<Joined>("server")?.is_some())
}

impl Farm {
    /// The next message to the server. The app carries it to `POST /v1/sync` and hands the answer
    /// to [`Farm::sync_hear`]; asking again instead drops the one underway, which is harmless.
    pub fn sync_ask(&self) -> Result<Vec<u8>, FarmError> {
        let now = self.env.now().ms();
        let mut inner = self.lock();
        if !inner.exchanging {
            inner.write(|tx| Ok(tx.retry_refused()?))?;
            inner.exchanging = true;
            inner.rechecked = false;
        }
        let state = inner.sync_state()?;
        let changes = inner.outgoing()?;
        let (docs, told, all) = inner.store.read::<_, FarmError>(|tx| {
            let docs = if state.wants_check() {
                digests(tx)?
            } else {
                Vec::new()
            };
            Ok((
                docs,
                tx.meta::<Vec<String>>("told")?.unwrap_or_default(),
                tx.actors()?,
            ))
        })?;
        let told: Vec<Actor> = told.iter().map(|hex| actor(hex)).collect();
        let own: Vec<Actor> = inner.me.actors.iter().map(|hex| actor(hex)).collect();
        let is_new = |a: &&Actor| !told.contains(a);
        let unsent = Unsent {
            docs,
            actors: own.iter().filter(is_new).copied().collect(),
            vouched: if state.checked {
                inner.vouched()?.iter().filter(is_new).copied().collect()
            } else {
                // A first exchange may carry what others wrote here before there was a server.
                all.iter()
                    .filter(|a| !own.contains(a))
                    .filter(is_new)
                    .copied()
                    .collect()
            },
            changes,
        };
        let ask = state.ask(&unsent, now);
        if mutant("sent_before_acked") {
            inner.write(|tx| {
                for change in &unsent.changes {
                    tx.sent(&change.doc, &change.hash)?;
                }
                Ok(())
            })?;
        }
        inner.underway = Some(Underway {
            sent: unsent
                .changes
                .iter()
                .map(|c| (c.doc.clone(), c.hash))
                .collect(),
            told: unsent
                .actors
                .iter()
                .chain(&unsent.vouched)
                .copied()
                .collect(),
            asked_ms: now,
            checked: state.wants_check(),
        });
        Ok(ask)
    }

    /// Takes the server's answer: what came, what left the outbox and how far the log is known
    /// commit together. A damaged answer changes nothing.
    pub fn sync_hear(&self, answer: &[u8]) -> Result<Heard, FarmError> {
        let now = self.env.now().ms();
        let mut inner = self.lock();
        let underway = inner
            .underway
            .take()
            .ok_or_else(|| FarmError::new(ErrorKind::Invalid, "nothing was asked"))?;
        let before = inner.sync_state()?;
        let mut heard = before.hear(&underway.sent, answer, underway.asked_ms, now)?;
        if mutant("change_dropped") && heard.changes.len() > 1 {
            heard.changes.pop();
        }
        if mutant("page_dropped") {
            heard.changes.clear();
        }
        let ready = match inner.ready_beside_copy(&*self.env, &mut heard) {
            Ok(ready) => ready,
            // Something that the answer builds on is not here: hold everything against the server.
            Err(_) if before.checked => {
                let state = State {
                    checked: false,
                    fetch: Vec::new(),
                    ..before
                };
                inner.write(|tx| Ok(tx.set_meta("sync", &state)?))?;
                return Ok(Heard {
                    changes: 0,
                    again: true,
                });
            }
            Err(e) => return Err(e),
        };
        // What the server lacks and this phone has goes into the outbox, each change before those
        // that build on it.
        let mut resend: Vec<(DocName, Hash)> = Vec::new();
        for (doc, hash) in &heard.missing {
            // One that was sent with this very message was refused itself; to send it again would
            // go in circles.
            let sent = underway.sent.contains(&(doc.clone(), *hash));
            if !sent && inner.has(doc, hash)? {
                resend.push((doc.clone(), *hash));
            }
        }
        let asked_for = !resend.is_empty();
        for doc in &heard.resend {
            for bytes in inner.document(doc)?.changes() {
                let (change, _) = crate::ledger::read_change(doc, &bytes)?;
                resend.push((doc.clone(), change.hash));
            }
        }
        let new_epoch = before.epoch.is_some() && before.epoch != heard.state.epoch;
        let mut told: Vec<String> = if new_epoch {
            Vec::new()
        } else {
            inner
                .store
                .read::<_, FarmError>(|tx| Ok(tx.meta("told")?.unwrap_or_default()))?
        };
        told.extend(underway.told.iter().map(Actor::to_string));
        told.sort();
        told.dedup();
        // An older copy of the server may have forgotten an actor that it was told of before; this
        // phone answers for the makers of what it sends, whoever told the server of them then.
        let mut unknown = heard.unknown.clone();
        unknown.retain(|actor| !underway.told.contains(actor) && !mutant("unknown_ignored"));
        told.retain(|hex| !unknown.contains(&actor(hex)));
        let mut vouched: Vec<String> = inner
            .store
            .read::<_, FarmError>(|tx| Ok(tx.meta("vouched")?.unwrap_or_default()))?;
        let others = unknown.iter().map(Actor::to_string);
        vouched.extend(
            others.filter(|hex| !inner.me.actors.contains(hex) && !mutant("vouching_forgotten")),
        );
        vouched.sort();
        vouched.dedup();
        let asked_for = asked_for || !unknown.is_empty();
        let (acked, state, digest) = (&heard.acked, &mut heard.state, heard.digest);
        let (mut again, mut ready_to_send) = (heard.again, 0);
        let mut rechecked = inner.rechecked;
        let taken = inner.keep(ready, false, |tx| {
            for (doc, hash) in acked {
                tx.sent(doc, hash)?;
            }
            for (doc, hash) in &resend {
                tx.send_again(doc, hash)?;
            }
            for (doc, hash, _) in &state.refused {
                if let Some(hash) = hash {
                    // Only one that waited for what is sent now can fare better in this exchange.
                    tx.refused(doc, hash, asked_for)?;
                }
            }
            ready_to_send = tx.unsent()?.1;
            // With nothing left to exchange both sides must hold the same.
            if !again && ready_to_send == 0 {
                let agreed = held(tx)? == digest || mutant("digest_unread");
                // Once an exchange: what waits refused may be why they differ, and only the next
                // exchange sends that again.
                if !agreed && !underway.checked && !rechecked {
                    rechecked = true;
                    state.checked = false;
                    again = true;
                }
                tx.set_meta("agreed", &agreed)?;
            }
            let refused: Vec<String> = state
                .refused
                .iter()
                .map(|(doc, _, why)| format!("{doc}: {why}"))
                .collect();
            tx.set_meta("refused", &refused)?;
            tx.set_meta("told", &told)?;
            tx.set_meta("vouched", &vouched)?;
            tx.set_meta("sync", state)?;
            Ok(())
        })?;
        inner.rechecked = rechecked;
        let mut again = again || ready_to_send > 0;
        if !again && let Some(offset_s) = inner.clock_news(heard.state.offset_ms.unwrap_or(0))? {
            let now = self.env.now();
            let draft = Draft::new(Kind::Clock).with("offset_s", offset_s);
            inner.append(self, draft, None, None, now)?;
            inner.write(|tx| Ok(tx.set_meta("clock_noted", &offset_s)?))?;
            again = true;
        }
        inner.exchanging = again;
        Ok(Heard {
            changes: taken.changes,
            again,
        })
    }

    /// What is synced and what is not.
    pub fn status(&self) -> Result<Status, FarmError> {
        let mut inner = self.lock();
        let state = inner.sync_state()?;
        inner.store.read(|tx| {
            Ok(Status {
                server: tx.meta::<Joined>("server")?.map(|j| j.url),
                waiting: tx.unsent()?.0,
                heard_at: state.heard_at,
                offset_ms: state.offset_ms,
                agreed: tx.meta("agreed")?.unwrap_or(false),
                refused: tx.meta("refused")?.unwrap_or_default(),
            })
        })
    }

    /// Remembers the server and the secret that it gave to this device; everything that is here is
    /// held against the server at the next exchange.
    pub fn joined(&self, url: &str, token: &str) -> Result<(), FarmError> {
        self.keep_joined(&Joined {
            url: url.trim_end_matches('/').into(),
            token: token.into(),
            pin: None,
            since: self.env.now().ms(),
        })
    }

    pub(super) fn keep_joined(&self, joined: &Joined) -> Result<(), FarmError> {
        self.lock().write(|tx| remember_server(tx, joined))
    }
}

impl Inner {
    pub(super) fn sync_state(&mut self) -> Result<State, FarmError> {
        self.store
            .read(|tx| Ok(tx.meta("sync")?.unwrap_or_default()))
    }

    /// Actors whose changes came by hand from other phones.
    fn vouched(&mut self) -> Result<Vec<Actor>, FarmError> {
        let hex: Vec<String> = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.meta("vouched")?.unwrap_or_default()))?;
        Ok(hex.iter().map(|hex| actor(hex)).collect())
    }

    /// The change of an outbox line; nothing where it is not here.
    pub(super) fn change_of(
        &mut self,
        unsent: &crate::store::Unsent,
    ) -> Result<Option<Change>, FarmError> {
        Ok(match &unsent.bytes {
            Some(bytes) => Some(crate::ledger::read_change(&unsent.doc, bytes)?.0),
            None => self.document(&unsent.doc)?.change(&unsent.hash),
        })
    }

    /// The oldest unsent changes, as many as fit into one message.
    fn outgoing(&mut self) -> Result<Vec<Change>, FarmError> {
        let rows = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.outbox(MOST_CHANGES, false)?))?;
        let mut changes = Vec::new();
        let mut bytes = 0;
        for unsent in rows {
            // What a server asked for and this phone does not have either cannot be sent.
            let Some(change) = self.change_of(&unsent)? else {
                self.write(|tx| Ok(tx.sent(&unsent.doc, &unsent.hash)?))?;
                continue;
            };
            bytes += change.bytes.len();
            if bytes > MOST_BYTES && !changes.is_empty() {
                break;
            }
            changes.push(change);
        }
        Ok(changes)
    }

    pub(super) fn ready_all(
        &mut self,
        changes: &[(DocName, serde_bytes::ByteBuf)],
        docs: &[(DocName, serde_bytes::ByteBuf)],
    ) -> Result<Ready, FarmError> {
        let mut ready = self.ready(changes.iter().map(|(doc, bytes)| (doc, bytes.as_slice())))?;
        for (doc, saved) in docs {
            self.ready_document(doc, saved, &mut ready)?;
        }
        Ok(ready)
    }
}

/// A digest of every document.
pub(super) fn digests(tx: &Tx<'_>) -> Result<Vec<DocDigest>, FarmError> {
    Ok(tx
        .docs()?
        .into_iter()
        .map(|(doc, (of, n))| DocDigest {
            doc,
            digest: Digest { of: of.into(), n },
        })
        .collect())
}

/// A digest of everything here that the server should have too: all but the outbox.
fn held(tx: &Tx<'_>) -> Result<Digest, FarmError> {
    let mut all = Digest::default();
    for doc in digests(tx)? {
        all.join(&doc.digest);
    }
    for unsent in tx.outbox(usize::MAX >> 1, true)? {
        all.remove(&unsent.hash);
    }
    Ok(all)
}
