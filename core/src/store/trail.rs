//! What a trace reads: the moves of single lots and the records behind them, by the indexes on
//! lots, kinds and times, so that the years before cost nothing.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rusqlite::params;

use super::rows::{ByLot, by_lot, id, id_and_fields, lot_and_eggs, record, records};
use super::{StoreError, Tx};
use crate::book::Place;
use crate::book::trace::Step;
use crate::record::{Id, Instant, Kind, Lot, Record};
use crate::trade::Species;

impl Tx<'_> {
    /// Every move of a lot, with the carton run that its record is or names.
    pub fn steps(&self, lot: Lot) -> Result<Vec<Step>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT m.record, m.at, m.source, m.dest, m.eggs,
                    CASE r.kind WHEN 'carton' THEN r.id
                                ELSE json_extract(r.fields, '$.carton') END
             FROM move m JOIN record r ON r.id = m.record WHERE m.lot = ?1",
        )?;
        let rows = statement.query_map([lot.to_string()], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get(1)?,
                row.get::<_, String>(2)?,
                row.get::<_, String>(3)?,
                row.get(4)?,
                row.get::<_, Option<String>>(5)?,
            ))
        })?;
        let place = |text: String| {
            Place::from_code(&text).ok_or_else(|| StoreError::Damaged(format!("no place {text}")))
        };
        rows.map(|row| {
            let (record, at, from, to, eggs, run) = row?;
            Ok(Step {
                record: id(&record)?,
                at: Instant::from_ms(at),
                from: place(from)?,
                to: place(to)?,
                eggs,
                run: run.and_then(|run| run.parse().ok()),
            })
        })
        .collect()
    }

    /// Live records by their ids; those that are not here, or cannot be read, are left out.
    pub fn live_by_id(&self, ids: &BTreeSet<Id>) -> Result<BTreeMap<Id, Record>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT fields FROM record WHERE id = ?1 AND standing = 0")?;
        let mut found = BTreeMap::new();
        for id in ids {
            let mut rows = statement.query([id.to_string()])?;
            if let Some(row) = rows.next()? {
                let fields: String = row.get(0)?;
                found.extend(record(*id, &fields)?.map(|record| (*id, record)));
            }
        }
        Ok(found)
    }

    /// Live records of a kind in a span of time, both ends included.
    pub fn live_between(
        &self,
        kind: Kind,
        from: Instant,
        to: Instant,
    ) -> Result<Vec<Record>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, fields FROM record
             WHERE kind = ?1 AND at BETWEEN ?2 AND ?3 AND standing = 0 ORDER BY at, id",
        )?;
        let span = params![kind.code(), from.ms(), to.ms()];
        records(statement.query_map(span, id_and_fields)?)
    }

    /// The lots that records of these ids moved eggs of.
    pub fn lots_of(&self, ids: &BTreeSet<Id>) -> Result<BTreeSet<Lot>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT lot FROM move WHERE record = ?1")?;
        let mut lots = BTreeSet::new();
        for id in ids {
            let rows = statement.query_map([id.to_string()], |row| row.get::<_, String>(0))?;
            for lot in rows {
                lots.insert(lot?.parse().map_err(StoreError::Damaged)?);
            }
        }
        Ok(lots)
    }

    /// The lots that eggs were moved of on a span of farm days.
    pub fn lots_moved(&self, from: NaiveDate, to: NaiveDate) -> Result<BTreeSet<Lot>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT DISTINCT lot FROM move WHERE day BETWEEN ?1 AND ?2")?;
        let span = params![from.to_string(), to.to_string()];
        let rows = statement.query_map(span, |row| row.get::<_, String>(0))?;
        rows.map(|lot| lot?.parse().map_err(StoreError::Damaged))
            .collect()
    }

    /// The lots of a farm day.
    pub fn lots_of_day(&self, day: NaiveDate) -> Result<BTreeSet<Lot>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT DISTINCT lot FROM move WHERE lot >= ?1 AND lot < ?2")?;
        // The text of a lot begins with its day, and '~' comes after everything that follows it.
        let span = [day.to_string(), format!("{day}~")];
        let rows = statement.query_map(span, |row| row.get::<_, String>(0))?;
        rows.map(|lot| lot?.parse().map_err(StoreError::Damaged))
            .collect()
    }

    /// Live carton runs of a moment or later with this printed code, the latest first.
    pub fn runs_with_code(&self, code: &str, since: Instant) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id FROM record WHERE kind = 'carton' AND at >= ?2 AND standing = 0
             AND json_extract(fields, '$.code') = ?1 COLLATE NOCASE ORDER BY at DESC, id DESC",
        )?;
        let which = params![code, since.ms()];
        let rows = statement.query_map(which, |row| row.get::<_, String>(0))?;
        rows.map(|run| id(&run?)).collect()
    }

    /// Live carton runs of a moment or later that were packed on a day, the latest first.
    pub fn runs_packed(&self, day: NaiveDate, since: Instant) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id FROM record WHERE kind = 'carton' AND at >= ?2 AND standing = 0
             AND json_extract(fields, '$.packed') = ?1 ORDER BY at DESC, id DESC",
        )?;
        let which = params![day.to_string(), since.ms()];
        let rows = statement.query_map(which, |row| row.get::<_, String>(0))?;
        rows.map(|run| id(&run?)).collect()
    }

    /// Live carton runs that hold eggs of a lot, the latest first.
    pub fn runs_of_lot(&self, lot: Lot) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT m.record FROM move m JOIN record r ON r.id = m.record
             WHERE m.lot = ?1 AND r.kind = 'carton' ORDER BY m.at DESC, m.record DESC",
        )?;
        let rows = statement.query_map([lot.to_string()], |row| row.get::<_, String>(0))?;
        rows.map(|run| id(&run?)).collect()
    }

    /// The readings of a cooler next before and next after a moment.
    pub fn readings_beside(
        &self,
        cooler: Id,
        at: Instant,
    ) -> Result<(Option<Instant>, Option<Instant>), StoreError> {
        let beside = |compare: &str, order: &str| -> Result<Option<Instant>, StoreError> {
            let sql = format!(
                "SELECT at FROM record WHERE kind = 'reading' AND standing = 0 AND at {compare} ?1
                 AND json_extract(fields, '$.cooler') = ?2 ORDER BY at {order} LIMIT 1"
            );
            let mut statement = self.sql.prepare_cached(&sql)?;
            let mut rows = statement.query(params![at.ms(), cooler.to_string()])?;
            Ok(match rows.next()? {
                Some(row) => Some(Instant::from_ms(row.get(0)?)),
                None => None,
            })
        };
        Ok((beside("<", "DESC")?, beside(">", "ASC")?))
    }

    /// The lots of which eggs stand at a station.
    pub fn lots_here(&self) -> Result<BTreeSet<Lot>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT DISTINCT lot FROM balance
             WHERE place IN ('basket', 'clean', 'cartoned') AND eggs > 0",
        )?;
        let rows = statement.query_map([], |row| row.get::<_, String>(0))?;
        rows.map(|lot| lot?.parse().map_err(StoreError::Damaged))
            .collect()
    }

    /// Eggs of each lot at a place.
    pub fn balances_at(&self, place: Place) -> Result<ByLot, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT lot, eggs FROM balance WHERE place = ?1 AND eggs <> 0")?;
        by_lot(statement.query_map([place.code()], lot_and_eggs)?)
    }

    /// When a coop was gathered of a species the last time before a moment.
    pub fn gathered_before(
        &self,
        coop: Id,
        species: Species,
        at: Instant,
    ) -> Result<Option<Instant>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT at FROM record WHERE kind = 'gather' AND standing = 0 AND at < ?1
             AND json_extract(fields, '$.coop') = ?2 AND json_extract(fields, '$.species') = ?3
             ORDER BY at DESC LIMIT 1",
        )?;
        let whose = params![at.ms(), coop.to_string(), species.code()];
        let mut rows = statement.query(whose)?;
        Ok(match rows.next()? {
            Some(row) => Some(Instant::from_ms(row.get(0)?)),
            None => None,
        })
    }

    /// The latest live record of a kind with this word in a field, up to a moment.
    pub fn latest_with(
        &self,
        kind: Kind,
        (field, word): (&str, &str),
        until: Instant,
    ) -> Result<Option<Instant>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT at FROM record WHERE kind = ?1 AND standing = 0 AND at <= ?2
             AND json_extract(fields, '$.' || ?3) = ?4 ORDER BY at DESC LIMIT 1",
        )?;
        let which = params![kind.code(), until.ms(), field, word];
        let mut rows = statement.query(which)?;
        Ok(match rows.next()? {
            Some(row) => Some(Instant::from_ms(row.get(0)?)),
            None => None,
        })
    }

    /// Eggs that a recount missed, by lot; below zero where it found more than expected.
    pub fn missed_by(&self, recount: Id) -> Result<ByLot, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT lot, sum(CASE dest WHEN 'unaccounted' THEN eggs ELSE -eggs END)
             FROM move WHERE record = ?1 GROUP BY lot",
        )?;
        by_lot(statement.query_map([recount.to_string()], lot_and_eggs)?)
    }
}
