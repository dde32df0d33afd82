use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use chrono::NaiveDate;
use rusqlite::{OptionalExtension, params};

use super::rows::{balances, id, id_and_fields, place_lot_eggs, record, records};
use super::{StoreError, Tx};
use crate::book::Place;
use crate::book::review::{Gathered, NEAR_MS};
use crate::record::{
    Body, Cull, Decision, DocName, Hash, Id, Instant, Kind, Lot, Out, Record, decode,
};
use crate::trade::Species;

/// The change that a record was written by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Its document.
    pub doc: DocName,
    /// The change.
    pub hash: Hash,
}

/// Whether neither of two writers had seen the other's record; asked of the causal history, which
/// the store does not know.
pub type Apart<'a> = dyn FnMut(&Tx<'_>, &Written, &Written) -> Result<bool, StoreError> + 'a;

impl Tx<'_> {
    /// The change that wrote a record.
    pub fn written(&self, id: Id) -> Result<Option<Written>, StoreError> {
        let row: Option<(String, [u8; 32])> = self
            .sql
            .prepare_cached("SELECT doc, hash FROM record WHERE id = ?1")?
            .query_row([id.to_string()], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        row.map(|(doc, hash)| {
            Ok(Written {
                doc: doc.parse().map_err(StoreError::Damaged)?,
                hash: Hash(hash),
            })
        })
        .transpose()
    }

    /// Finds the gathers that may be the same round as one of these, written apart.
    pub fn find_twins<'a>(
        &self,
        gathers: impl IntoIterator<Item = &'a Id>,
        apart: &mut Apart<'_>,
    ) -> Result<(), StoreError> {
        // Gathers taken together mostly lie near one another: each is read once.
        let mut read = BTreeMap::new();
        for id in gathers {
            self.sql
                .prepare_cached("DELETE FROM twin WHERE one = ?1 OR other = ?1")?
                .execute([id.to_string()])?;
            let Some((record, mine)) = self.gather(*id)? else {
                continue;
            };
            let Body::Gather(gather) = &record.body else {
                continue;
            };
            for other in self.gathers_near(record.at, &mut read)? {
                let Some(other) = read.get(&other).and_then(Option::as_ref) else {
                    continue;
                };
                let Body::Gather(theirs) = &other.body else {
                    continue;
                };
                let alike = other.id != record.id
                    && other.device != record.device
                    && theirs.coop == gather.coop
                    && theirs.species == gather.species;
                if !alike {
                    continue;
                }
                let Some(written) = self.written(other.id)? else {
                    continue;
                };
                if apart(self, &mine, &written)? {
                    let (one, later) = if (record.at, record.id) < (other.at, other.id) {
                        (record.id, other.id)
                    } else {
                        (other.id, record.id)
                    };
                    self.sql
                        .prepare_cached("INSERT OR IGNORE INTO twin (one, other) VALUES (?1, ?2)")?
                        .execute(params![one.to_string(), later.to_string()])?;
                }
            }
        }
        Ok(())
    }

    /// A gather as it stands, voided or not, and the change that wrote it.
    fn gather(&self, id: Id) -> Result<Option<(Record, Written)>, StoreError> {
        let fields: Option<String> = self
            .sql
            .prepare_cached(
                "SELECT fields FROM record WHERE id = ?1 AND kind = 'gather' AND standing < 2",
            )?
            .query_row([id.to_string()], |row| row.get(0))
            .optional()?;
        let Some(fields) = fields else {
            return Ok(None);
        };
        let (Some(record), Some(written)) = (record(id, &fields)?, self.written(id)?) else {
            return Ok(None);
        };
        Ok(Some((record, written)))
    }

    /// The gathers near a moment; those that were not met before are read into `read`.
    fn gathers_near(
        &self,
        at: Instant,
        read: &mut BTreeMap<Id, Option<Record>>,
    ) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields FROM record
             WHERE kind = 'gather' AND at BETWEEN ?1 AND ?2 AND standing < 2",
        )?;
        let mut rows = statement.query([at.ms() - NEAR_MS, at.ms() + NEAR_MS])?;
        let mut near = Vec::new();
        while let Some(row) = rows.next()? {
            let one = id(row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?)?;
            if let Entry::Vacant(new) = read.entry(one) {
                let fields = row.get_ref(1)?.as_str().map_err(rusqlite::Error::from)?;
                new.insert(record(one, fields)?);
            }
            near.push(one);
        }
        Ok(near)
    }

    /// Pairs of gathers that may be one round.
    pub fn twins(&self) -> Result<Vec<(Id, Id)>, StoreError> {
        let mut statement = self.sql.prepare_cached("SELECT one, other FROM twin")?;
        let rows = statement.query_map([], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))
        })?;
        rows.map(|row| {
            let (one, other) = row?;
            Ok((id(&one)?, id(&other)?))
        })
        .collect()
    }

    /// Records about which the list has something to say by themselves.
    pub fn flagged(&self) -> Result<Vec<Id>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT id FROM record WHERE flagged")?;
        let rows = statement.query_map([], |row| row.get::<_, String>(0))?;
        rows.map(|row| id(&row?)).collect()
    }

    /// Balances below zero.
    pub fn overdrawn(&self) -> Result<Vec<(Place, Lot, i64)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT place, lot, eggs FROM balance
             WHERE eggs < 0 AND place IN ('basket', 'clean', 'cartoned') ORDER BY place, lot",
        )?;
        balances(statement.query_map([], place_lot_eggs)?)
    }

    /// The records that took eggs of a lot away from a place, oldest first.
    pub fn took(
        &self,
        place: Place,
        lot: Lot,
    ) -> Result<Vec<(Id, Option<Id>, Instant)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT DISTINCT m.record, m.at, json_extract(r.fields, '$.by')
             FROM move m JOIN record r ON r.id = m.record
             WHERE m.lot = ?1 AND m.source = ?2 ORDER BY m.at, m.record",
        )?;
        let rows = statement.query_map(params![lot.to_string(), place.code()], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get(1)?,
                row.get::<_, Option<String>>(2)?,
            ))
        })?;
        rows.map(|row| {
            let (record, at, by) = row?;
            Ok((
                id(&record)?,
                by.and_then(|by| by.parse().ok()),
                Instant::from_ms(at),
            ))
        })
        .collect()
    }

    /// Live records of a kind, typed.
    pub fn live_of(&self, kind: Kind) -> Result<Vec<Record>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT id, fields FROM record WHERE kind = ?1 AND standing = 0")?;
        records(statement.query_map([kind.code()], id_and_fields)?)
    }

    /// Live carton runs and outs that hold eggs of lots of a span of days.
    pub fn packed_or_gone(
        &self,
        from: NaiveDate,
        until: Option<NaiveDate>,
    ) -> Result<Vec<Record>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields FROM record WHERE kind IN ('carton', 'out') AND standing = 0 AND id IN
                 (SELECT record FROM move WHERE lot >= ?1 AND lot < ?2
                  AND (dest IN ('cartoned', 'out') OR source = 'out'))
             ORDER BY at, id",
        )?;
        // The text of a lot begins with its day, and '~' comes after everything that follows it.
        let end = until.map_or("~".to_string(), |day| format!("{day}~"));
        records(statement.query_map([from.to_string(), end], id_and_fields)?)
    }

    /// Live outs and culls of a carton run.
    pub fn left_run(&self, run: Id) -> Result<Vec<Record>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields FROM record WHERE kind IN ('out', 'cull')
             AND json_extract(fields, '$.carton') = ?1 AND standing = 0",
        )?;
        records(statement.query_map([run.to_string()], id_and_fields)?)
    }

    /// The carton run that an out or cull takes from, where it stands.
    pub fn run_of(&self, record: &Record) -> Result<Option<Record>, StoreError> {
        let (Body::Out(Out {
            carton: Some(run), ..
        })
        | Body::Cull(Cull {
            carton: Some(run), ..
        })) = &record.body
        else {
            return Ok(None);
        };
        let fields: Option<String> = self
            .sql
            .prepare_cached(
                "SELECT fields FROM record WHERE id = ?1 AND kind = 'carton' AND standing = 0",
            )?
            .query_row([run.to_string()], |row| row.get(0))
            .optional()?;
        Ok(match fields {
            Some(fields) => super::rows::record(*run, &fields)?,
            None => None,
        })
    }

    /// What of a day's eggs of a species came from one coop.
    pub fn share(
        &self,
        coop: Id,
        species: Species,
        day: NaiveDate,
    ) -> Result<Gathered, StoreError> {
        let (of_coop, all): (i64, i64) = self
            .sql
            .prepare_cached(
                "SELECT coalesce(sum(n) FILTER (WHERE coop = ?3), 0), coalesce(sum(n), 0)
                 FROM line WHERE day = ?1 AND measure = 'gathered' AND species = ?2",
            )?
            .query_row(
                params![day.to_string(), species.code(), coop.to_string()],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )?;
        Ok(match of_coop {
            0 => Gathered::Nothing,
            n if n == all => Gathered::Everything,
            _ => Gathered::Some,
        })
    }

    /// Records that a device dated by its clock between two moments of that clock (seconds since
    /// 1970): not those given another time by hand or mended since.
    pub fn dated_by(
        &self,
        device: Id,
        after_s: i64,
        until_s: i64,
    ) -> Result<Vec<(Id, Option<Id>)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields, made_at FROM record
             WHERE id > ?1 AND id < ?2 AND standing = 0 AND doc <> 'farm'
               AND kind NOT IN ('clock', 'decision', 'amend', 'void')
               AND json_extract(fields, '$.device') = ?3 AND made_at > ?4 AND made_at <= ?5",
        )?;
        const MINUTE: i64 = 60;
        let first = Id::at((after_s - MINUTE) * 1000, [0; 10]).to_string();
        let last = Id::at((until_s + MINUTE) * 1000, [0xff; 10]).to_string();
        let rows = statement.query_map(
            params![first, last, device.to_string(), after_s, until_s],
            |row| {
                Ok((
                    row.get::<_, String>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, i64>(2)?,
                ))
            },
        )?;
        let mut all = Vec::new();
        for row in rows {
            let (text, fields, made_at) = row?;
            let Some(record) = record(id(&text)?, &fields)? else {
                continue;
            };
            let by_clock = (record.at.ms().div_euclid(1000) - made_at).abs() <= MINUTE;
            if by_clock {
                all.push((record.id, record.by));
            }
        }
        Ok(all)
    }

    /// When a record's change was made, by its maker's clock, seconds since 1970.
    pub fn made_at(&self, id: Id) -> Result<Option<i64>, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT made_at FROM record WHERE id = ?1")?
            .query_row([id.to_string()], |row| row.get(0))
            .optional()?)
    }

    /// Live gathers of a coop after a farm day.
    pub fn gathers_after(&self, coop: Id, day: NaiveDate) -> Result<Vec<Record>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields FROM record WHERE kind = 'gather' AND standing = 0 AND day > ?1
             AND json_extract(fields, '$.coop') = ?2",
        )?;
        records(statement.query_map([day.to_string(), coop.to_string()], id_and_fields)?)
    }

    /// What people decided about lines of the list.
    pub fn decisions(&self) -> Result<Vec<Decision>, StoreError> {
        let all = self.live_of(Kind::Decision)?;
        Ok(all
            .into_iter()
            .filter_map(|r| match r.body {
                Body::Decision(decision) => Some(decision),
                _ => None,
            })
            .collect())
    }

    /// Records of kinds or forms that cannot be read here, with why.
    pub fn unreadable(&self) -> Result<Vec<(Id, Instant, String)>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT id, at, why, base FROM record WHERE standing = 2")?;
        let rows = statement.query_map([], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get(1)?,
                row.get::<_, Option<String>>(2)?,
                row.get::<_, Vec<u8>>(3)?,
            ))
        })?;
        rows.map(|row| {
            let (text, at, why, base) = row?;
            let kind = decode(&base).ok().and_then(|f| f.get("kind").cloned());
            let why = why.unwrap_or_default();
            let why = match kind.as_ref().and_then(|k| k.as_str()) {
                Some(kind) => format!("{kind}: {why}"),
                None => why,
            };
            Ok((id(&text)?, Instant::from_ms(at), why))
        })
        .collect()
    }
}
