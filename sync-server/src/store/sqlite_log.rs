use pointdown_core::record::{Actor, DocName, Hash, Id};
use pointdown_core::sync::{Digest, DocDigest};
use rusqlite::{Connection, OptionalExtension, params};
use serde_bytes::ByteArray;

use super::epoch::fresh_epoch;
use super::{DocParts, Epoch, Log, Logged, NewChange, Registered, Role, StoreError};

/// One farm's log inside an open SQLite transaction.
pub(super) struct SqliteLog<'a> {
    tx: &'a Connection,
    farm: [u8; 16],
}

impl<'a> SqliteLog<'a> {
    /// The log of a farm that must be there.
    pub(super) fn new(tx: &'a Connection, farm: Id) -> Result<SqliteLog<'a>, StoreError> {
        let log = SqliteLog {
            tx,
            farm: *farm.bytes(),
        };
        log.counter()?;
        Ok(log)
    }

    fn doc_digest(&self, doc: &DocName) -> Result<Digest, StoreError> {
        let found = self
            .tx
            .prepare_cached("SELECT digest, n FROM doc WHERE farm = ?1 AND name = ?2")?
            .query_row(params![self.farm, doc.as_str()], |row| {
                Ok(Digest {
                    of: ByteArray::new(row.get(0)?),
                    n: row.get::<_, i64>(1)? as u64,
                })
            })
            .optional()?;
        Ok(found.unwrap_or_default())
    }
}

fn doc_name(text: &str) -> Result<DocName, StoreError> {
    text.parse().map_err(StoreError::Damaged)
}

impl Log for SqliteLog<'_> {
    fn epoch(&self) -> Result<Epoch, StoreError> {
        Ok(self
            .tx
            .prepare_cached("SELECT epoch FROM server")?
            .query_row([], |row| row.get(0))?)
    }

    fn rotate_epoch(&self) -> Result<Epoch, StoreError> {
        let epoch = fresh_epoch()?;
        self.tx.execute("UPDATE server SET epoch = ?1", [epoch])?;
        Ok(epoch)
    }

    fn counter(&self) -> Result<u64, StoreError> {
        self.tx
            .prepare_cached("SELECT n FROM farm WHERE id = ?1")?
            .query_row([self.farm], |row| row.get::<_, i64>(0))
            .optional()?
            .map(|n| n as u64)
            .ok_or(StoreError::NoSuchFarm)
    }

    fn last_op(&self, doc: &DocName, hash: &Hash) -> Result<Option<u64>, StoreError> {
        Ok(self
            .tx
            .prepare_cached(
                "SELECT last_op FROM change WHERE farm = ?1 AND doc = ?2 AND hash = ?3",
            )?
            .query_row(params![self.farm, doc.as_str(), hash.0], |row| {
                row.get::<_, i64>(0)
            })
            .optional()?
            .map(|op| op as u64))
    }

    fn actor_number(&self, doc: &DocName, actor: &Actor) -> Result<u64, StoreError> {
        let n: Option<i64> = self
            .tx
            .prepare_cached(
                "SELECT max(seq) FROM change WHERE farm = ?1 AND doc = ?2 AND actor = ?3",
            )?
            .query_row(params![self.farm, doc.as_str(), actor.0], |row| row.get(0))?;
        Ok(n.unwrap_or(0) as u64)
    }

    fn standing(&self, device: Id) -> Result<Option<Role>, StoreError> {
        self.tx
            .prepare_cached(
                "SELECT role FROM device WHERE id = ?1 AND farm = ?2 AND revoked_at IS NULL",
            )?
            .query_row(params![device.bytes(), self.farm], |row| {
                row.get::<_, String>(0)
            })
            .optional()?
            .map(|role| role.parse().map_err(StoreError::Damaged))
            .transpose()
    }

    fn registered(&self, actor: &Actor) -> Result<Option<Registered>, StoreError> {
        Ok(self
            .tx
            .prepare_cached("SELECT device, vouched FROM actor WHERE farm = ?1 AND actor = ?2")?
            .query_row(params![self.farm, actor.0], |row| {
                Ok(Registered {
                    device: Id::from_bytes(row.get(0)?),
                    vouched: row.get(1)?,
                })
            })
            .optional()?)
    }

    fn register(&self, actor: &Actor, whose: Registered, now: i64) -> Result<(), StoreError> {
        self.tx
            .prepare_cached(
                "INSERT INTO actor (farm, actor, device, vouched, at) VALUES (?1, ?2, ?3, ?4, ?5)
                 ON CONFLICT (farm, actor) DO UPDATE
                 SET device = excluded.device, vouched = 0, at = excluded.at
                 WHERE vouched AND NOT excluded.vouched",
            )?
            .execute(params![
                self.farm,
                actor.0,
                whose.device.bytes(),
                whose.vouched,
                now
            ])?;
        Ok(())
    }

    fn heard(&self, device: Id, now: i64) -> Result<(), StoreError> {
        self.tx
            .prepare_cached("UPDATE device SET heard_at = ?3 WHERE farm = ?1 AND id = ?2")?
            .execute(params![self.farm, device.bytes(), now])?;
        Ok(())
    }

    fn append(&self, device: Id, changes: &[NewChange<'_>], now: i64) -> Result<u64, StoreError> {
        let counter: i64 = self
            .tx
            .prepare_cached("UPDATE farm SET n = n + ?2 WHERE id = ?1 RETURNING n")?
            .query_row(params![self.farm, changes.len() as i64], |row| row.get(0))?;
        let mut insert = self.tx.prepare_cached(
            "INSERT INTO change (farm, n, doc, hash, actor, seq, last_op, device, relayed, taken_at,
                 bytes)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        )?;
        let mut sum = self.tx.prepare_cached(
            "INSERT INTO doc (farm, name, digest, n) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (farm, name) DO UPDATE SET digest = excluded.digest, n = excluded.n",
        )?;
        let first = counter - changes.len() as i64 + 1;
        for (n, NewChange { change, relayed }) in (first..).zip(changes) {
            insert.execute(params![
                self.farm,
                n,
                change.doc.as_str(),
                change.hash.0,
                change.actor.0,
                change.seq as i64,
                change.last_op as i64,
                device.bytes(),
                relayed,
                now,
                change.bytes,
            ])?;
            let mut digest = self.doc_digest(&change.doc)?;
            digest.add(&change.hash);
            sum.execute(params![
                self.farm,
                change.doc.as_str(),
                *digest.of,
                digest.n as i64
            ])?;
        }
        Ok(counter as u64)
    }

    fn after(&self, cursor: u64, most_bytes: usize) -> Result<Vec<Logged>, StoreError> {
        let mut statement = self.tx.prepare_cached(
            "SELECT n, doc, hash, bytes FROM change WHERE farm = ?1 AND n > ?2 ORDER BY n",
        )?;
        // A cursor past every number that there can be finds nothing.
        let cursor = i64::try_from(cursor).unwrap_or(i64::MAX);
        let mut rows = statement.query(params![self.farm, cursor])?;
        let mut page = Vec::new();
        let mut bytes = 0;
        while let Some(row) = rows.next()? {
            let logged = Logged {
                n: row.get::<_, i64>(0)? as u64,
                doc: doc_name(row.get_ref(1)?.as_str().map_err(rusqlite::Error::from)?)?,
                hash: Hash(row.get(2)?),
                bytes: row.get(3)?,
            };
            bytes += logged.bytes.len();
            if bytes > most_bytes && !page.is_empty() {
                break;
            }
            page.push(logged);
        }
        Ok(page)
    }

    fn docs(&self) -> Result<Vec<DocDigest>, StoreError> {
        let mut statement = self.tx.prepare_cached(
            "SELECT name, digest, n FROM doc WHERE farm = ?1
             ORDER BY name = 'farm' DESC, name DESC",
        )?;
        let mut rows = statement.query([self.farm])?;
        let mut all = Vec::new();
        while let Some(row) = rows.next()? {
            all.push(DocDigest {
                doc: doc_name(row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?)?,
                digest: Digest {
                    of: ByteArray::new(row.get(1)?),
                    n: row.get::<_, i64>(2)? as u64,
                },
            });
        }
        Ok(all)
    }

    fn doc(&self, doc: &DocName) -> Result<DocParts, StoreError> {
        let saved: Option<(Vec<u8>, i64)> = self
            .tx
            .prepare_cached("SELECT saved, upto FROM snapshot WHERE farm = ?1 AND doc = ?2")?
            .query_row(params![self.farm, doc.as_str()], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()?;
        let (saved, mut upto) = saved.map_or((None, 0), |(saved, upto)| (Some(saved), upto));
        let mut statement = self.tx.prepare_cached(
            "SELECT n, bytes FROM change WHERE farm = ?1 AND doc = ?2 AND n > ?3 ORDER BY n",
        )?;
        let mut rows = statement.query(params![self.farm, doc.as_str(), upto])?;
        let mut changes = Vec::new();
        while let Some(row) = rows.next()? {
            upto = row.get(0)?;
            changes.push(row.get(1)?);
        }
        Ok(DocParts {
            saved,
            changes,
            upto: upto as u64,
        })
    }

    fn keep_saved(&self, doc: &DocName, saved: &[u8], upto: u64) -> Result<(), StoreError> {
        self.tx
            .prepare_cached(
                "INSERT INTO snapshot (farm, doc, upto, saved) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (farm, doc) DO UPDATE SET upto = excluded.upto, saved = excluded.saved
                 WHERE excluded.upto > upto",
            )?
            .execute(params![self.farm, doc.as_str(), upto as i64, saved])?;
        Ok(())
    }

    fn fold(&self, doc: &DocName, before: i64) -> Result<u64, StoreError> {
        const THESE: &str = "farm = ?1 AND doc = ?2 AND taken_at < ?3 AND length(bytes) > 0
             AND n <= (SELECT upto FROM snapshot WHERE farm = ?1 AND doc = ?2)";
        let these = params![self.farm, doc.as_str(), before];
        let (bytes, last): (i64, Option<i64>) = self.tx.query_row(
            &format!("SELECT coalesce(sum(length(bytes)), 0), max(n) FROM change WHERE {THESE}"),
            these,
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        if let Some(last) = last {
            self.tx.execute(
                &format!("UPDATE change SET bytes = x'' WHERE {THESE}"),
                these,
            )?;
            self.tx.execute(
                "UPDATE farm SET folded = max(folded, ?2) WHERE id = ?1",
                params![self.farm, last],
            )?;
        }
        Ok(bytes as u64)
    }

    fn folded(&self) -> Result<u64, StoreError> {
        Ok(self
            .tx
            .prepare_cached("SELECT folded FROM farm WHERE id = ?1")?
            .query_row([self.farm], |row| row.get::<_, i64>(0))? as u64)
    }

    fn changed_since(&self, cursor: u64) -> Result<Vec<DocName>, StoreError> {
        let mut statement = self.tx.prepare_cached(
            "SELECT DISTINCT doc FROM change WHERE farm = ?1 AND n > ?2
             ORDER BY doc = 'farm' DESC, doc DESC",
        )?;
        let cursor = i64::try_from(cursor).unwrap_or(i64::MAX);
        let names =
            statement.query_map(params![self.farm, cursor], |row| row.get::<_, String>(0))?;
        names.map(|name| doc_name(&name?)).collect()
    }

    fn mend_digest(&self, doc: &DocName, digest: &Digest) -> Result<(), StoreError> {
        self.tx.execute(
            "INSERT INTO doc (farm, name, digest, n) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (farm, name) DO UPDATE SET digest = excluded.digest, n = excluded.n",
            params![self.farm, doc.as_str(), *digest.of, digest.n as i64],
        )?;
        Ok(())
    }

    fn drop_saved(&self, doc: &DocName) -> Result<(), StoreError> {
        self.tx.execute(
            "DELETE FROM snapshot WHERE farm = ?1 AND doc = ?2",
            params![self.farm, doc.as_str()],
        )?;
        Ok(())
    }
}
