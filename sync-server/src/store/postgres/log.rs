mod ahead;
mod append;

use std::cell::{Cell, RefCell};
use std::collections::HashMap;

use futures_util::future::{join, try_join, try_join_all};
use pointdown_core::record::{Actor, Change, DocName, Hash, Id};
use pointdown_core::sync::{Digest, DocDigest};
use serde_bytes::ByteArray;
use tokio_postgres::types::ToSql;
use tokio_postgres::{Row, Statement};

use self::ahead::Ahead;
use super::link::{Link, Params};
use super::members::role;
use super::{bytes, id, natural};
use crate::store::epoch::fresh_epoch;
use crate::store::{DocParts, Epoch, Log, Logged, NewChange, Registered, Role, StoreError};

/// What the first statement of a transaction asks.
const HEAD: &str = "SELECT f.n, s.epoch FROM pointdown.farm f, pointdown.server s WHERE f.id = $1";

/// The same, and nobody else writes to this farm's log until the transaction ends.
const LOCKED: &str = "SELECT f.n, s.epoch FROM pointdown.farm f, pointdown.server s WHERE f.id = $1
     FOR NO KEY UPDATE OF f";

const DOCS: &str = "SELECT name, digest, n FROM pointdown.doc WHERE farm = $1";

/// The most statements that wait to be sent together. Up to thirty futures are polled strictly in
/// their order by `try_join_all`, so that nothing overtakes anything.
const MOST_LATER: usize = 24;

/// What a transaction is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum For {
    /// Reading one state.
    Reading,
    /// Writing, alone.
    Writing,
    /// Writing without the farm's lock, each number drawn as a sequence would give it. Only tests do
    /// this, to show what the lock is for.
    WritingUnlocked,
}

/// A statement whose result nobody waits for.
type Later = (Statement, Vec<Box<dyn ToSql + Sync>>);

/// One farm's log inside an open transaction.
///
/// Each question to the database takes a round trip, so what can be asked ahead is asked ahead, and
/// what only has to be written waits until something is read or the transaction ends: then all of
/// it travels at once.
pub(super) struct PgLog<'a> {
    link: &'a Link,
    farm: [u8; 16],
    mode: For,
    open: Cell<bool>,
    n: Cell<u64>,
    epoch: Cell<Epoch>,
    later: RefCell<Vec<Later>>,
    /// The digest of each document.
    docs: RefCell<HashMap<DocName, Digest>>,
    ahead: RefCell<Ahead>,
}

/// A transaction that was just opened, and what it found.
pub(super) struct Begun {
    farm: [u8; 16],
    mode: For,
    n: u64,
    epoch: Epoch,
    docs: HashMap<DocName, Digest>,
}

/// Opens a transaction on the log of a farm that must be there.
pub(super) fn begin(link: &Link, farm: Id, mode: For) -> Result<Begun, StoreError> {
    let (begin, head) = match mode {
        For::Reading => ("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", HEAD),
        For::Writing => ("BEGIN ISOLATION LEVEL READ COMMITTED", LOCKED),
        For::WritingUnlocked => ("BEGIN ISOLATION LEVEL READ COMMITTED", HEAD),
    };
    let (head, docs) = (link.statement(head)?, link.statement(DOCS)?);
    let farm = *farm.bytes();
    let key = farm.as_slice();
    let params: Params<'_> = &[&key];
    let client = link.client();
    let found = link.wait(async {
        // What is locked may only be read once the lock is there, which is why the documents are a
        // statement of their own.
        let found = join(client.query_opt(&head, params), client.query(&docs, params));
        let (began, (head, docs)) = join(client.batch_execute(begin), found).await;
        began?;
        Ok((head?, docs?))
    });
    let begun = found.and_then(|(head, docs)| {
        let row = head.ok_or(StoreError::NoSuchFarm)?;
        Ok(Begun {
            farm,
            mode,
            n: natural(&row, 0)?,
            epoch: bytes(&row, 1)?,
            docs: docs.iter().map(doc_digest).collect::<Result<_, _>>()?,
        })
    });
    if begun.is_err() {
        let _ = link.batch("ROLLBACK");
    }
    begun
}

impl<'a> PgLog<'a> {
    pub(super) fn new(link: &'a Link, begun: Begun) -> PgLog<'a> {
        PgLog {
            link,
            farm: begun.farm,
            mode: begun.mode,
            open: Cell::new(true),
            n: Cell::new(begun.n),
            epoch: Cell::new(begun.epoch),
            later: RefCell::default(),
            docs: RefCell::new(begun.docs),
            ahead: RefCell::default(),
        }
    }

    /// Makes everything durable.
    pub(super) fn commit(self) -> Result<(), StoreError> {
        if self.mode == For::Reading {
            // Nothing depends on how it ends.
            self.open.set(false);
            self.link.send("COMMIT");
            return Ok(());
        }
        let client = self.link.client();
        let later = self.later.take();
        let sent = self.link.wait(async {
            // If one of them fails, the transaction is lost and COMMIT only ends it; the failure
            // is what try_join reports, whichever comes first.
            try_join(all(client, &later), client.batch_execute("COMMIT")).await
        });
        if sent.is_ok() {
            self.open.set(false);
        }
        sent.map(|_| ())
    }

    /// Notes something to be written.
    fn later(&self, sql: &'static str, with: Vec<Box<dyn ToSql + Sync>>) -> Result<(), StoreError> {
        let statement = self.link.statement(sql)?;
        self.later.borrow_mut().push((statement, with));
        if self.later.borrow().len() < MOST_LATER {
            return Ok(());
        }
        let later = self.later.take();
        self.link.wait(all(self.link.client(), &later))
    }

    /// Asks, after everything that waits was sent along.
    fn query(&self, sql: &'static str, with: Params<'_>) -> Result<Vec<Row>, StoreError> {
        let statement = self.link.statement(sql)?;
        let client = self.link.client();
        let later = self.later.take();
        self.link.wait(async {
            let (sent, found) = join(all(client, &later), client.query(&statement, with)).await;
            sent?;
            found
        })
    }

    fn keep_digest(&self, doc: &DocName, digest: &Digest) -> Result<(), StoreError> {
        self.later(
            "INSERT INTO pointdown.doc (farm, name, digest, n) VALUES ($1, $2, $3, $4)
             ON CONFLICT (farm, name) DO UPDATE SET digest = excluded.digest, n = excluded.n",
            vec![
                self.me(),
                Box::new(doc.as_str().to_string()),
                Box::new(digest.of.to_vec()),
                Box::new(digest.n as i64),
            ],
        )
    }

    fn me(&self) -> Box<dyn ToSql + Sync> {
        Box::new(self.farm.to_vec())
    }
}

impl Drop for PgLog<'_> {
    fn drop(&mut self) {
        if self.open.get() {
            // Where even this fails the connection is gone, and the transaction with it.
            let _ = self.link.batch("ROLLBACK");
        }
    }
}

/// Sends statements one after the other without waiting in between.
async fn all(
    client: &tokio_postgres::Client,
    later: &[Later],
) -> Result<(), tokio_postgres::Error> {
    let sent = later.iter().map(|(statement, with)| async move {
        let with: Vec<&(dyn ToSql + Sync)> = with.iter().map(|p| &**p).collect();
        client.execute(statement, &with).await
    });
    try_join_all(sent).await.map(|_| ())
}

fn doc_name(text: &str) -> Result<DocName, StoreError> {
    text.parse().map_err(StoreError::Damaged)
}

fn doc_digest(row: &Row) -> Result<(DocName, Digest), StoreError> {
    let digest = Digest {
        of: ByteArray::new(bytes(row, 1)?),
        n: natural(row, 2)?,
    };
    Ok((doc_name(row.try_get(0)?)?, digest))
}

fn registered(row: &Row) -> Result<Registered, StoreError> {
    Ok(Registered {
        device: id(row, 0)?,
        vouched: row.try_get(1)?,
    })
}

impl Log for PgLog<'_> {
    fn epoch(&self) -> Result<Epoch, StoreError> {
        Ok(self.epoch.get())
    }

    fn rotate_epoch(&self) -> Result<Epoch, StoreError> {
        let epoch = fresh_epoch()?;
        self.later(
            "UPDATE pointdown.server SET epoch = $1",
            vec![Box::new(epoch.to_vec())],
        )?;
        self.epoch.set(epoch);
        Ok(epoch)
    }

    fn counter(&self) -> Result<u64, StoreError> {
        Ok(self.n.get())
    }

    fn ask_ahead(&self, changes: &[Change]) -> Result<(), StoreError> {
        self.look_ahead(changes)
    }

    fn last_op(&self, doc: &DocName, hash: &Hash) -> Result<Option<u64>, StoreError> {
        if let Some(known) = self.ahead.borrow().ops.get(&(doc.clone(), *hash)) {
            return Ok(*known);
        }
        let found = self.query(
            "SELECT last_op FROM pointdown.change WHERE farm = $1 AND doc = $2 AND hash = $3",
            &[&self.farm.as_slice(), &doc.as_str(), &hash.0.as_slice()],
        )?;
        found.first().map(|row| natural(row, 0)).transpose()
    }

    fn actor_number(&self, doc: &DocName, actor: &Actor) -> Result<u64, StoreError> {
        if let Some(known) = self.ahead.borrow().numbers.get(&(doc.clone(), *actor)) {
            return Ok(*known);
        }
        let found = self.query(
            "SELECT coalesce(max(seq), 0) FROM pointdown.change
             WHERE farm = $1 AND doc = $2 AND actor = $3",
            &[&self.farm.as_slice(), &doc.as_str(), &actor.0.as_slice()],
        )?;
        found.first().map_or(Ok(0), |row| natural(row, 0))
    }

    fn registered(&self, actor: &Actor) -> Result<Option<Registered>, StoreError> {
        if let Some(known) = self.ahead.borrow().actors.get(actor) {
            return Ok(*known);
        }
        let found = self.query(
            "SELECT device, vouched FROM pointdown.actor WHERE farm = $1 AND actor = $2",
            &[&self.farm.as_slice(), &actor.0.as_slice()],
        )?;
        found.first().map(registered).transpose()
    }

    fn register(&self, actor: &Actor, whose: Registered, now: i64) -> Result<(), StoreError> {
        self.ahead.borrow_mut().actors.remove(actor);
        self.later(
            "INSERT INTO pointdown.actor AS a (farm, actor, device, vouched, at)
             VALUES ($1, $2, $3, $4, $5)
             ON CONFLICT (farm, actor) DO UPDATE
             SET device = excluded.device, vouched = FALSE, at = excluded.at
             WHERE a.vouched AND NOT excluded.vouched",
            vec![
                self.me(),
                Box::new(actor.0.to_vec()),
                Box::new(whose.device.bytes().to_vec()),
                Box::new(whose.vouched),
                Box::new(now),
            ],
        )
    }

    fn heard(&self, device: Id, now: i64) -> Result<(), StoreError> {
        self.later(
            "UPDATE pointdown.device SET heard_at = $3 WHERE farm = $1 AND id = $2",
            vec![self.me(), Box::new(device.bytes().to_vec()), Box::new(now)],
        )
    }

    fn append(&self, device: Id, changes: &[NewChange<'_>], now: i64) -> Result<u64, StoreError> {
        self.add(device, changes, now)
    }

    fn after(&self, cursor: u64, most_bytes: usize) -> Result<Vec<Logged>, StoreError> {
        // Nothing can be seen beyond the head that this transaction saw.
        if cursor >= self.n.get() {
            return Ok(Vec::new());
        }
        let most = i64::try_from(most_bytes).unwrap_or(i64::MAX);
        let cursor = cursor as i64;
        let found = self.query(
            "SELECT n, doc, hash, bytes FROM (
                 SELECT n, doc, hash, bytes, sum(length(bytes)) OVER (ORDER BY n) AS so_far
                 FROM (SELECT n, doc, hash, bytes FROM pointdown.change
                       WHERE farm = $1 AND n > $2 ORDER BY n LIMIT 4000) AS next) AS page
             WHERE so_far <= $3 OR n = $2 + 1 ORDER BY n",
            &[&self.farm.as_slice(), &cursor, &most],
        )?;
        found
            .iter()
            .map(|row| {
                Ok(Logged {
                    n: natural(row, 0)?,
                    doc: doc_name(row.try_get(1)?)?,
                    hash: Hash(bytes(row, 2)?),
                    bytes: row.try_get(3)?,
                })
            })
            .collect()
    }

    fn docs(&self) -> Result<Vec<DocDigest>, StoreError> {
        let known = self.docs.borrow();
        let mut all: Vec<DocDigest> = known
            .iter()
            .map(|(doc, digest)| DocDigest {
                doc: doc.clone(),
                digest: *digest,
            })
            .collect();
        all.sort_by(|a, b| (b.doc.is_farm(), &b.doc).cmp(&(a.doc.is_farm(), &a.doc)));
        Ok(all)
    }

    fn doc(&self, doc: &DocName) -> Result<DocParts, StoreError> {
        let (key, name) = (self.farm.as_slice(), doc.as_str());
        let saved = self.query(
            "SELECT saved, upto FROM pointdown.snapshot WHERE farm = $1 AND doc = $2",
            &[&key, &name],
        )?;
        let (saved, mut upto) = match saved.first() {
            Some(row) => (Some(row.try_get(0)?), row.try_get(1)?),
            None => (None, 0i64),
        };
        let found = self.query(
            "SELECT n, bytes FROM pointdown.change
             WHERE farm = $1 AND doc = $2 AND n > $3 ORDER BY n",
            &[&key, &name, &upto],
        )?;
        let mut changes = Vec::new();
        for row in &found {
            upto = row.try_get(0)?;
            changes.push(row.try_get(1)?);
        }
        Ok(DocParts {
            saved,
            changes,
            upto: upto as u64,
        })
    }

    fn keep_saved(&self, doc: &DocName, saved: &[u8], upto: u64) -> Result<(), StoreError> {
        self.later(
            "INSERT INTO pointdown.snapshot AS s (farm, doc, upto, saved) VALUES ($1, $2, $3, $4)
             ON CONFLICT (farm, doc) DO UPDATE SET upto = excluded.upto, saved = excluded.saved
             WHERE excluded.upto > s.upto",
            vec![
                self.me(),
                Box::new(doc.as_str().to_string()),
                Box::new(upto as i64),
                Box::new(saved.to_vec()),
            ],
        )
    }

    fn standing(&self, device: Id) -> Result<Option<Role>, StoreError> {
        let found = self.query(
            "SELECT role FROM pointdown.device
             WHERE id = $1 AND farm = $2 AND revoked_at IS NULL",
            &[&device.bytes().as_slice(), &self.farm.as_slice()],
        )?;
        found.first().map(|row| role(row, 0)).transpose()
    }

    fn fold(&self, doc: &DocName, before: i64) -> Result<u64, StoreError> {
        let found = self.query(
            "WITH these AS (
                 SELECT n, length(bytes) AS size FROM pointdown.change
                 WHERE farm = $1 AND doc = $2 AND taken_at < $3 AND length(bytes) > 0
                     AND n <= (SELECT upto FROM pointdown.snapshot WHERE farm = $1 AND doc = $2)
             ), emptied AS (
                 UPDATE pointdown.change AS c SET bytes = ''::bytea FROM these
                 WHERE c.farm = $1 AND c.n = these.n
             ), noted AS (
                 UPDATE pointdown.farm SET folded = greatest(folded, (SELECT max(n) FROM these))
                 WHERE id = $1 AND EXISTS (SELECT 1 FROM these)
             )
             SELECT coalesce(sum(size), 0)::bigint FROM these",
            &[&self.farm.as_slice(), &doc.as_str(), &before],
        )?;
        found.first().map_or(Ok(0), |row| natural(row, 0))
    }

    fn folded(&self) -> Result<u64, StoreError> {
        let found = self.query(
            "SELECT folded FROM pointdown.farm WHERE id = $1",
            &[&self.farm.as_slice()],
        )?;
        found.first().map_or(Ok(0), |row| natural(row, 0))
    }

    fn changed_since(&self, cursor: u64) -> Result<Vec<DocName>, StoreError> {
        let cursor = i64::try_from(cursor).unwrap_or(i64::MAX);
        let found = self.query(
            "SELECT DISTINCT doc FROM pointdown.change WHERE farm = $1 AND n > $2",
            &[&self.farm.as_slice(), &cursor],
        )?;
        let names = found.iter().map(|row| doc_name(row.try_get(0)?));
        let mut names = names.collect::<Result<Vec<_>, StoreError>>()?;
        names.sort_by(|a, b| (b.is_farm(), b).cmp(&(a.is_farm(), a)));
        Ok(names)
    }

    fn mend_digest(&self, doc: &DocName, digest: &Digest) -> Result<(), StoreError> {
        self.docs.borrow_mut().insert(doc.clone(), *digest);
        self.keep_digest(doc, digest)
    }

    fn drop_saved(&self, doc: &DocName) -> Result<(), StoreError> {
        self.later(
            "DELETE FROM pointdown.snapshot WHERE farm = $1 AND doc = $2",
            vec![self.me(), Box::new(doc.as_str().to_string())],
        )
    }
}
