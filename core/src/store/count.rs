//! What is counted of a record that stands: its moves, the balances that they add up to, and its lines.

use rusqlite::params;

use super::{StoreError, Tx};
use crate::book::{Line, Move, Place, lines};
use crate::mutants::mutant;
use crate::record::{Body, Id, Record, Zone};

impl Tx<'_> {
    /// Writes the moves of a record and what they do to balances, and counts its lines.
    pub(super) fn carry(
        &self,
        zone: Zone,
        record: &Record,
        moved: &[Move],
    ) -> Result<(), StoreError> {
        let day = zone.day(record.at).to_string();
        let mut insert = self.sql.prepare_cached(
            "INSERT INTO move (record, n, at, day, species, lot, source, dest, eggs)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?;
        for (n, m) in moved.iter().enumerate() {
            insert.execute(params![
                record.id.to_string(),
                n as i64,
                record.at.ms(),
                day,
                m.lot.species.code(),
                m.lot.to_string(),
                m.from.code(),
                m.to.code(),
                m.eggs,
            ])?;
            self.balance(m, 1)?;
            if mutant("moves_doubled") && matches!(record.body, Body::Wash(_)) {
                self.balance(m, 1)?;
            }
        }
        // A recount is counted when it is settled.
        if !matches!(record.body, Body::Recount(_)) || !moved.is_empty() {
            for line in lines(record, zone, moved) {
                self.count(&line, 1)?;
            }
        }
        Ok(())
    }

    /// Deletes the moves of a record and takes them out of the balances.
    pub(super) fn take_moves(&self, id: Id) -> Result<Vec<Move>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT lot, source, dest, eggs FROM move WHERE record = ?1")?;
        let rows = statement.query_map([id.to_string()], read_move)?;
        let moved: Vec<Move> = rows.collect::<Result<_, _>>()?;
        self.sql
            .prepare_cached("DELETE FROM move WHERE record = ?1")?
            .execute([id.to_string()])?;
        for m in &moved {
            self.balance(m, -1)?;
        }
        Ok(moved)
    }

    fn balance(&self, m: &Move, sign: i64) -> Result<(), StoreError> {
        for (place, n) in [(m.from, -i64::from(m.eggs)), (m.to, i64::from(m.eggs))] {
            let key = params![
                place.code(),
                m.lot.species.code(),
                m.lot.to_string(),
                sign * n
            ];
            self.sql
                .prepare_cached(
                    "INSERT INTO balance (place, species, lot, eggs) VALUES (?1, ?2, ?3, ?4)
                     ON CONFLICT DO UPDATE SET eggs = eggs + excluded.eggs",
                )?
                .execute(key)?;
            self.sql
                .prepare_cached(
                    "DELETE FROM balance WHERE place = ?1 AND species = ?2 AND lot = ?3 AND eggs = 0",
                )?
                .execute(params![place.code(), m.lot.species.code(), m.lot.to_string()])?;
        }
        if mutant("balance_clamped") {
            self.sql.execute_batch(
                "UPDATE balance SET eggs = max(eggs, 0) WHERE place IN ('basket', 'clean')",
            )?;
        }
        Ok(())
    }

    pub(super) fn count(&self, line: &Line, sign: i64) -> Result<(), StoreError> {
        let id = |id: Option<Id>| id.map(|id| id.to_string()).unwrap_or_default();
        let key = (
            line.day.to_string(),
            line.measure.code(),
            id(line.coop),
            line.species.code(),
            id(line.by),
            line.detail.as_str(),
        );
        self.sql
            .prepare_cached(
                "INSERT INTO line (day, measure, coop, species, by, detail, n)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
                 ON CONFLICT DO UPDATE SET n = n + excluded.n",
            )?
            .execute(params![
                key.0,
                key.1,
                key.2,
                key.3,
                key.4,
                key.5,
                sign * line.n
            ])?;
        self.sql
            .prepare_cached(
                "DELETE FROM line WHERE day = ?1 AND measure = ?2 AND coop = ?3 AND species = ?4
                     AND by = ?5 AND detail = ?6 AND n = 0",
            )?
            .execute(params![key.0, key.1, key.2, key.3, key.4, key.5])?;
        Ok(())
    }
}

pub(super) fn read_move(row: &rusqlite::Row<'_>) -> rusqlite::Result<Move> {
    let wrong = |column: usize, what: String| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, what.into())
    };
    let place = |column: usize| -> rusqlite::Result<Place> {
        let code: String = row.get(column)?;
        Place::from_code(&code).ok_or_else(|| wrong(column, format!("no place {code}")))
    };
    let lot: String = row.get(0)?;
    Ok(Move {
        lot: lot.parse().map_err(|e| wrong(0, e))?,
        from: place(1)?,
        to: place(2)?,
        eggs: row.get(3)?,
    })
}
