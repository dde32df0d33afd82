use rusqlite::{OptionalExtension, params};

use super::rows::{id, record};
use super::{StoreError, Tx};
use crate::book::Place;
use crate::mutants::mutant;
use crate::record::{Id, Instant, Record, Recount};
use crate::trade::Species;

impl Tx<'_> {
    /// Records with a first id from this one on that somebody amended or voided.
    pub fn edited_since(&self, first: Id) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT DISTINCT target FROM record
             WHERE kind IN ('amend', 'void') AND target >= ?1 ORDER BY target",
        )?;
        let rows = statement.query_map([first.to_string()], |row| row.get::<_, String>(0))?;
        let targets: Vec<String> = rows.collect::<Result<_, _>>()?;
        // A foreign amendment may name anything as its target.
        Ok(targets
            .iter()
            .filter_map(|text| text.parse().ok())
            .collect())
    }

    /// Recounts that found another number than the book expects at their moment, with what it
    /// expects.
    pub fn differing(&self) -> Result<Vec<(Record, i64)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT r.id, r.fields, json_extract(r.fields, '$.counted') + s.missed FROM record r,
                 (SELECT record, sum(CASE dest WHEN 'unaccounted' THEN eggs ELSE -eggs END) missed
                  FROM move WHERE record IN (SELECT id FROM record WHERE kind = 'recount')
                  GROUP BY record) s
             WHERE s.record = r.id AND r.standing = 0 AND s.missed <> 0
             ORDER BY r.id",
        )?;
        let rows = statement.query_map([], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, i64>(2)?,
            ))
        })?;
        let mut all = Vec::new();
        for row in rows {
            let (text, fields, now) = row?;
            if let Some(record) = record(id(&text)?, &fields)? {
                all.push((record, now));
            }
        }
        Ok(all)
    }

    /// Records other than recounts that moved eggs of a species to or from a station before a
    /// record, back to the recount before it: id, and who.
    pub fn moved_before(
        &self,
        station: Place,
        species: Species,
        recount: &Record,
    ) -> Result<Vec<(Id, Option<Id>)>, StoreError> {
        let earlier: Option<(i64, String)> = {
            let mut statement = self.sql.prepare_cached(
                "SELECT at, id FROM record
                 WHERE kind = 'recount' AND standing = 0 AND (at, id) < (?1, ?2)
                   AND json_extract(fields, '$.station') = ?3
                   AND (json_extract(fields, '$.species') = ?4
                        OR json_extract(fields, '$.lot') LIKE '%/' || ?4 || '%')
                 ORDER BY at DESC, id DESC LIMIT 1",
            )?;
            let row = params![
                recount.at.ms(),
                recount.id.to_string(),
                station.code(),
                species.code()
            ];
            let mut rows = statement.query_map(row, |row| Ok((row.get(0)?, row.get(1)?)))?;
            rows.next().transpose()?
        };
        let (after, after_id) = earlier.unwrap_or((Instant::EARLIEST.ms(), String::new()));
        let mut statement = self.sql.prepare_cached(
            "SELECT DISTINCT m.record, json_extract(r.fields, '$.by') FROM move m
             JOIN record r ON r.id = m.record
             WHERE m.species = ?1 AND (m.source = ?2 OR m.dest = ?2) AND r.kind <> 'recount'
               AND (m.at, m.record) > (?3, ?4) AND (m.at, m.record) < (?5, ?6)
             ORDER BY m.at, m.record",
        )?;
        let row = params![
            species.code(),
            station.code(),
            after,
            after_id,
            recount.at.ms(),
            recount.id.to_string()
        ];
        let rows = statement.query_map(row, |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?))
        })?;
        rows.map(|row| {
            let (record, by) = row?;
            Ok((id(&record)?, by.and_then(|by| by.parse().ok())))
        })
        .collect()
    }

    /// Records other than recounts that moved what a recount counted to or from its station before
    /// it, back to when all of it was counted there before: id, and who.
    pub fn moved_since_count(
        &self,
        record: &Record,
        recount: &Recount,
    ) -> Result<Vec<(Id, Option<Id>)>, StoreError> {
        let Some(species) = recount.of_species() else {
            return Ok(Vec::new());
        };
        let station = Place::from(recount.station).code();
        let lot = recount.lot.map(|lot| lot.to_string());
        let (at, of) = (record.at.ms(), record.id.to_string());
        let before: Option<(i64, String)> = self
            .sql
            .prepare_cached(
                "SELECT at, id FROM record
                 WHERE kind = 'recount' AND standing = 0 AND (at, id) < (?1, ?2)
                   AND json_extract(fields, '$.station') = ?3
                   AND CASE WHEN json_extract(fields, '$.lot') IS NULL
                            THEN json_extract(fields, '$.species') = ?4
                            ELSE json_extract(fields, '$.lot') = ?5 END
                 ORDER BY at DESC, id DESC LIMIT 1",
            )?
            .query_row(params![at, of, station, species.code(), lot], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()?;
        let before = before.filter(|_| !mutant("count_before_unread"));
        let (after, after_id) = before.unwrap_or((Instant::EARLIEST.ms(), String::new()));
        let mut statement = self.sql.prepare_cached(
            "SELECT DISTINCT m.record, json_extract(r.fields, '$.by') FROM move m
             JOIN record r ON r.id = m.record
             WHERE m.species = ?1 AND (m.source = ?2 OR m.dest = ?2) AND r.kind <> 'recount'
               AND (m.at, m.record) > (?3, ?4) AND (m.at, m.record) < (?5, ?6)
               AND (?7 IS NULL OR m.lot = ?7)
             ORDER BY m.at, m.record",
        )?;
        let which = params![species.code(), station, after, after_id, at, of, lot];
        let rows = statement.query_map(which, |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?))
        })?;
        rows.map(|row| {
            let (record, by) = row?;
            Ok((id(&record)?, by.and_then(|by| by.parse().ok())))
        })
        .collect()
    }
}
