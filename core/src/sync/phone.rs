//! The phone's half.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};

use super::{Answer, Ask, Digest, DocDigest, Refusal, SyncError, VERSION, Why, pack, unpack};
use crate::mutants::mutant;
use crate::record::{Actor, Change, DocName, Hash};

/// The most unsent changes that one message carries, and their most bytes.
pub const MOST_CHANGES: usize = 500;
/// See [`MOST_CHANGES`].
pub const MOST_BYTES: usize = 512 * 1024;

/// What a phone remembers of one server, from one message to the next and over a restart.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct State {
    /// The epoch of the server's log.
    pub epoch: Option<[u8; 16]>,
    /// How far the log is known.
    pub cursor: u64,
    /// Documents still to be fetched whole.
    pub fetch: Vec<DocName>,
    /// Whether both sides have been held against each other in this epoch.
    pub checked: bool,
    /// Server clock minus own clock at the last answer, milliseconds.
    pub offset_ms: Option<i64>,
    /// When the last answer came, by the own clock, milliseconds since 1970 UTC.
    pub heard_at: Option<i64>,
    /// What the server did not take at the last exchange.
    #[serde(skip)]
    pub refused: Vec<(DocName, Option<Hash>, String)>,
}

/// What goes into one message beside the state.
#[derive(Debug, Clone, Default)]
pub struct Unsent {
    /// Changes of the outbox, oldest first, already cut to [`MOST_CHANGES`] and [`MOST_BYTES`].
    pub changes: Vec<Change>,
    /// A digest of every document; used only where [`State::wants_check`].
    pub docs: Vec<DocDigest>,
    /// Own actors that the server may not know.
    pub actors: Vec<Actor>,
    /// Actors of other phones that this one answers for.
    pub vouched: Vec<Actor>,
}

/// What an answer asks to be done, all in one transaction.
#[derive(Debug, Clone)]
pub struct Heard {
    /// Changes to take, in an order in which each follows those that it depends on.
    pub changes: Vec<(DocName, ByteBuf)>,
    /// Whole documents to merge.
    pub docs: Vec<(DocName, ByteBuf)>,
    /// Changes that the server has now: they leave the outbox.
    pub acked: Vec<(DocName, Hash)>,
    /// Changes that the server asks for: they enter the outbox if they are here.
    pub missing: Vec<(DocName, Hash)>,
    /// Documents that the server lacks something of: all their changes enter the outbox.
    pub resend: Vec<DocName>,
    /// Actors that the server does not know, though changes of them were sent.
    pub unknown: Vec<Actor>,
    /// Changes that another installation made under the same actor and number.
    pub forked: Vec<(DocName, Hash)>,
    /// What to remember.
    pub state: State,
    /// Whether the exchange should go on at once, apart from what is still in the outbox.
    pub again: bool,
    /// What the server holds; to be compared once nothing is left to exchange.
    pub digest: Digest,
}

impl State {
    /// Whether the next message should carry digests of all documents.
    pub fn wants_check(&self) -> bool {
        !self.checked && self.fetch.is_empty()
    }

    /// The next message to the server.
    pub fn ask(&self, unsent: &Unsent, now_ms: i64) -> Vec<u8> {
        let actors = |all: &[Actor]| all.iter().map(|a| ByteArray::new(a.0)).collect();
        Ask {
            v: VERSION,
            epoch: self.epoch.map(ByteArray::new),
            cursor: self.cursor,
            now: now_ms,
            actors: actors(&unsent.actors),
            vouched: actors(&unsent.vouched),
            pack: pack(unsent.changes.iter().map(|c| (&c.doc, c.bytes.as_slice()))),
            check: self.wants_check().then(|| unsent.docs.clone()),
            fetch: self.fetch.iter().take(24).cloned().collect(),
        }
        .encode()
    }

    /// Reads the answer to a message that carried `sent`, asked at `asked_ms` and heard at
    /// `now_ms` by the own clock.
    pub fn hear(
        &self,
        sent: &[(DocName, Hash)],
        answer: &[u8],
        asked_ms: i64,
        now_ms: i64,
    ) -> Result<Heard, SyncError> {
        let answer = Answer::decode(answer)?;
        let mut changes = Vec::new();
        for (doc, list) in unpack(&answer.pack)? {
            changes.extend(list.into_iter().map(|bytes| (doc.clone(), bytes)));
        }
        let new_epoch =
            self.epoch != Some(*answer.epoch) && !(self.epoch.is_some() && mutant("epoch_ignored"));
        let mut state = State {
            epoch: Some(*answer.epoch),
            // Halfway between asking and hearing is the fairest guess for the server's "now".
            offset_ms: Some(
                answer
                    .now
                    .saturating_sub(asked_ms + (now_ms - asked_ms) / 2),
            ),
            heard_at: Some(now_ms),
            ..self.clone()
        };
        let asked_check = self.wants_check();
        if new_epoch && !asked_check {
            // The log is another one: hold everything against it before trusting any cursor.
            state.cursor = 0;
            state.checked = false;
            state.fetch.clear();
        } else {
            state.cursor = answer.cursor;
            let came: BTreeSet<&DocName> = answer.docs.iter().map(|d| &d.doc).collect();
            let asked: BTreeSet<&DocName> = self.fetch.iter().take(24).collect();
            // What was asked for and neither came nor is still lacking is not there at all.
            state
                .fetch
                .retain(|doc| !came.contains(doc) && !asked.contains(doc));
            let mut lack = answer.lack.clone();
            lack.retain(|doc| !state.fetch.contains(doc));
            lack.append(&mut state.fetch);
            state.fetch = lack;
            state.checked = state.checked || asked_check;
        }

        let refused: BTreeSet<Hash> = answer
            .refused
            .iter()
            .filter_map(|r| r.hash.map(|h| Hash(*h)))
            .collect();
        let mut heard = Heard {
            changes,
            docs: answer.docs.into_iter().map(|d| (d.doc, d.bytes)).collect(),
            acked: sent
                .iter()
                .filter(|(_, h)| !refused.contains(h))
                .cloned()
                .collect(),
            missing: Vec::new(),
            resend: if mutant("want_ignored") {
                Vec::new()
            } else {
                answer.want
            },
            unknown: Vec::new(),
            forked: Vec::new(),
            again: answer.more || !state.fetch.is_empty() || !state.checked,
            state,
            digest: answer.digest,
        };
        heard.state.refused = answer.refused.iter().map(named).collect();
        if answer.refused.iter().any(|r| r.hash.is_none()) {
            // Nobody knows which one was meant, so none counts as taken.
            let unsure = "the server could not read one of the changes sent with it";
            heard.acked.clear();
            heard.state.refused = sent
                .iter()
                .map(|(doc, h)| (doc.clone(), Some(*h), unsure.into()))
                .collect();
        }
        for Refusal { doc, hash, why } in answer.refused {
            match (why, hash) {
                (Why::Missing(hashes), _) => {
                    heard
                        .missing
                        .extend(hashes.iter().map(|h| (doc.clone(), Hash(**h))));
                }
                (Why::Unregistered(actor), _) => heard.unknown.push(Actor(*actor)),
                (Why::Forked, Some(hash)) => heard.forked.push((doc, Hash(*hash))),
                _ => {}
            }
        }
        Ok(heard)
    }
}

fn named(refusal: &Refusal) -> (DocName, Option<Hash>, String) {
    let why = match &refusal.why {
        Why::Missing(hashes) => format!("{} changes it builds on are missing", hashes.len()),
        Why::Unregistered(actor) => {
            format!("the phone that made it ({}) has not joined", Actor(**actor))
        }
        Why::Forked => "another copy of this database wrote under the same number".into(),
        Why::Broken(what) => format!("it cannot be read: {what}"),
        Why::ReadOnly => "this device may only read; an owner can let it log".into(),
    };
    (refusal.doc.clone(), refusal.hash.map(|h| Hash(*h)), why)
}
