use rusqlite::{OptionalExtension, params};

use super::{StoreError, Tx};
use crate::record::{Actor, Change, DocName, Hash};

/// A change set as the store keeps it: the exclusive-or of its hashes and their number.
pub(crate) type DocSum = ([u8; 32], u64);

/// A document as the store keeps it.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    /// Its saved form, if it was ever folded.
    pub saved: Option<Vec<u8>>,
    /// The changes since, each after those that it builds on.
    pub changes: Vec<Vec<u8>>,
}

/// A change that is still to be sent.
#[derive(Debug, Clone)]
pub struct Unsent {
    /// Its document.
    pub doc: DocName,
    /// Its name.
    pub hash: Hash,
    /// Its bytes, unless it is folded into the saved form of its document.
    pub bytes: Option<Vec<u8>>,
}

impl Tx<'_> {
    /// Keeps a change; `false` where it was there. The caller has seen that what it builds on is
    /// there and that its number follows the actor's last.
    pub fn add_change(&self, change: &Change) -> Result<bool, StoreError> {
        let doc = change.doc.as_str();
        let added = self
            .sql
            .prepare_cached(
                "INSERT OR IGNORE INTO change (doc, hash, bytes, last_op) VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![
                doc,
                change.hash.0,
                change.bytes,
                change.last_op as i64
            ])?;
        if added == 0 {
            return Ok(false);
        }
        let (mut digest, n) = self.doc_sum(&change.doc)?.unwrap_or_default();
        for (mine, theirs) in digest.iter_mut().zip(change.hash.0) {
            *mine ^= theirs;
        }
        self.sql
            .prepare_cached(
                "INSERT INTO doc (name, digest, n) VALUES (?1, ?2, ?3)
                 ON CONFLICT (name) DO UPDATE SET digest = excluded.digest, n = excluded.n",
            )?
            .execute(params![doc, digest, n as i64 + 1])?;
        self.sql
            .prepare_cached(
                "INSERT INTO actor (doc, actor, n) VALUES (?1, ?2, ?3)
                 ON CONFLICT (doc, actor) DO UPDATE SET n = max(n, excluded.n)",
            )?
            .execute(params![doc, change.actor.0, change.seq as i64])?;
        Ok(true)
    }

    /// Whether a document has a saved form that changes may be folded into.
    pub fn is_folded(&self, doc: &DocName) -> Result<bool, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT 1 FROM doc WHERE name = ?1 AND saved IS NOT NULL")?
            .exists([doc.as_str()])?)
    }

    /// Whether a change stands in the log by itself (it may also be folded into the saved form).
    pub fn has_change(&self, doc: &DocName, hash: &Hash) -> Result<bool, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT 1 FROM change WHERE doc = ?1 AND hash = ?2")?
            .exists(params![doc.as_str(), hash.0])?)
    }

    /// The Lamport counter of the last write of a change that stands in the log by itself; nothing
    /// where it does not, or where an earlier version kept it.
    pub fn last_op(&self, doc: &DocName, hash: &Hash) -> Result<Option<u64>, StoreError> {
        let op: Option<Option<i64>> = self
            .sql
            .prepare_cached("SELECT last_op FROM change WHERE doc = ?1 AND hash = ?2")?
            .query_row(params![doc.as_str(), hash.0], |row| row.get(0))
            .optional()?;
        Ok(op.flatten().map(|op| op as u64))
    }

    /// The highest number of an actor in a document; 0 where it wrote nothing.
    pub fn actor_number(&self, doc: &DocName, actor: &Actor) -> Result<u64, StoreError> {
        let n: Option<i64> = self
            .sql
            .prepare_cached("SELECT n FROM actor WHERE doc = ?1 AND actor = ?2")?
            .query_row(params![doc.as_str(), actor.0], |row| row.get(0))
            .optional()?;
        Ok(n.unwrap_or(0) as u64)
    }

    /// Every actor that wrote anything.
    pub fn actors(&self) -> Result<Vec<Actor>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT DISTINCT actor FROM actor")?;
        let all = statement.query_map([], |row| row.get(0).map(Actor))?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// The digest of a document and its number of changes.
    pub fn doc_sum(&self, doc: &DocName) -> Result<Option<DocSum>, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT digest, n FROM doc WHERE name = ?1")?
            .query_row([doc.as_str()], |row| {
                Ok((row.get(0)?, row.get::<_, i64>(1)? as u64))
            })
            .optional()?)
    }

    /// Every document with its digest: the farm's own first, then the newest month first.
    pub fn docs(&self) -> Result<Vec<(DocName, DocSum)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT name, digest, n FROM doc ORDER BY name = 'farm' DESC, name DESC",
        )?;
        let all = statement.query_map([], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get(1)?,
                row.get::<_, i64>(2)? as u64,
            ))
        })?;
        all.map(|row| {
            let (name, digest, n) = row?;
            let name = name.parse().map_err(StoreError::Damaged)?;
            Ok((name, (digest, n)))
        })
        .collect()
    }

    /// The saved form of a document, if it has one, and the changes that came after it, in an
    /// order in which each follows those that it builds on.
    pub fn load_doc(&self, doc: &DocName) -> Result<Kept, StoreError> {
        let saved = self
            .sql
            .prepare_cached("SELECT saved FROM doc WHERE name = ?1")?
            .query_row([doc.as_str()], |row| row.get(0))
            .optional()?
            .flatten();
        let mut statement = self
            .sql
            .prepare_cached("SELECT bytes FROM change WHERE doc = ?1 ORDER BY seq")?;
        let changes = statement.query_map([doc.as_str()], |row| row.get(0))?;
        Ok(Kept {
            saved,
            changes: changes.collect::<Result<_, _>>()?,
        })
    }

    /// Forgets a document; the caller puts its changes back.
    pub fn forget_doc(&self, doc: &DocName) -> Result<(), StoreError> {
        for table in [
            "DELETE FROM change WHERE doc",
            "DELETE FROM actor WHERE doc",
            "DELETE FROM doc WHERE name",
        ] {
            self.sql
                .prepare_cached(&format!("{table} = ?1"))?
                .execute([doc.as_str()])?;
        }
        Ok(())
    }

    /// How many changes of a document are not folded into its saved form.
    pub fn loose_changes(&self, doc: &DocName) -> Result<u64, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT count(*) FROM change WHERE doc = ?1")?
            .query_row([doc.as_str()], |row| row.get::<_, i64>(0))? as u64)
    }

    /// Folds a document: keeps its saved form and lets its single changes go, but for those that
    /// are still to be sent.
    pub fn fold_doc(&self, doc: &DocName, saved: &[u8]) -> Result<(), StoreError> {
        self.sql
            .prepare_cached("UPDATE doc SET saved = ?2 WHERE name = ?1")?
            .execute(params![doc.as_str(), saved])?;
        self.sql
            .prepare_cached(
                "DELETE FROM change WHERE doc = ?1
                 AND hash NOT IN (SELECT hash FROM outbox WHERE doc = ?1)",
            )?
            .execute([doc.as_str()])?;
        Ok(())
    }

    /// Puts a change into the outbox; `false` where it was there.
    pub fn send_later(&self, doc: &DocName, hash: &Hash) -> Result<bool, StoreError> {
        let added = self
            .sql
            .prepare_cached("INSERT OR IGNORE INTO outbox (doc, hash) VALUES (?1, ?2)")?
            .execute(params![doc.as_str(), hash.0])?;
        Ok(added > 0)
    }

    /// The server asks for a change: it goes into the outbox, and is sent in this exchange even if it
    /// was refused in it before.
    pub fn send_again(&self, doc: &DocName, hash: &Hash) -> Result<(), StoreError> {
        self.sql
            .prepare_cached(
                "INSERT INTO outbox (doc, hash) VALUES (?1, ?2)
                 ON CONFLICT (doc, hash) DO UPDATE SET refused = 0",
            )?
            .execute(params![doc.as_str(), hash.0])?;
        Ok(())
    }

    /// The server refused a change: it goes to the end of the outbox, to be sent again in this
    /// exchange only if `again`. One that does not wait there is none of ours.
    pub fn refused(&self, doc: &DocName, hash: &Hash, again: bool) -> Result<(), StoreError> {
        if !self.sent(doc, hash)? {
            return Ok(());
        }
        self.sql
            .prepare_cached("INSERT INTO outbox (doc, hash, refused) VALUES (?1, ?2, ?3)")?
            .execute(params![doc.as_str(), hash.0, !again])?;
        Ok(())
    }

    /// A new exchange begins: what was refused before is sent again.
    pub fn retry_refused(&self) -> Result<(), StoreError> {
        self.sql
            .prepare_cached("UPDATE outbox SET refused = 0 WHERE refused")?
            .execute([])?;
        Ok(())
    }

    /// Takes a change out of the outbox, since the server has it; `false` where it was not there.
    pub fn sent(&self, doc: &DocName, hash: &Hash) -> Result<bool, StoreError> {
        let taken = self
            .sql
            .prepare_cached("DELETE FROM outbox WHERE doc = ?1 AND hash = ?2")?
            .execute(params![doc.as_str(), hash.0])?;
        Ok(taken > 0)
    }

    /// The changes still to be sent, oldest first, with their bytes where they stand alone; with
    /// `all`, those too that the server refused in this exchange.
    pub fn outbox(&self, most: usize, all: bool) -> Result<Vec<Unsent>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT o.doc, o.hash, c.bytes FROM outbox o
             LEFT JOIN change c ON c.doc = o.doc AND c.hash = o.hash
             WHERE NOT o.refused OR ?2 ORDER BY o.seq LIMIT ?1",
        )?;
        let all = statement.query_map(params![most as i64, all], |row| {
            Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?))
        })?;
        all.map(|row| {
            let (doc, hash, bytes) = row?;
            Ok(Unsent {
                doc: doc.parse().map_err(StoreError::Damaged)?,
                hash: Hash(hash),
                bytes,
            })
        })
        .collect()
    }

    /// How many changes are still to be sent, and how many of them were not refused in this
    /// exchange.
    pub fn unsent(&self) -> Result<(u64, u64), StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT count(*), count(*) FILTER (WHERE NOT refused) FROM outbox")?
            .query_row([], |row| {
                Ok((row.get::<_, i64>(0)? as u64, row.get::<_, i64>(1)? as u64))
            })?)
    }
}
