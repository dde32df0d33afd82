use rusqlite::{OptionalExtension, params};

use super::{StoreError, Tx};
use crate::record::{DocName, Fields, Id, Kind, decode};
use crate::trade::Species;

/// What was first written under an id.
#[derive(Debug, Clone)]
pub struct FirstFacts {
    /// The record's id.
    pub id: Id,
    /// The document that it stands in.
    pub doc: DocName,
    /// The first facts.
    pub fields: Fields,
    /// When they were written, in seconds since 1970 by the writer's clock.
    pub made_at: i64,
}

impl Tx<'_> {
    /// The first facts of every record, set-up facts and edits too, in the order of their ids.
    pub fn first_facts(&self) -> Result<Vec<FirstFacts>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT id, doc, base, made_at FROM record ORDER BY id")?;
        let rows = statement.query_map([], read)?;
        rows.map(|row| facts(row?)).collect()
    }

    /// The first facts of one record.
    pub fn first_facts_of(&self, id: Id) -> Result<Option<FirstFacts>, StoreError> {
        self.sql
            .prepare_cached("SELECT id, doc, base, made_at FROM record WHERE id = ?1")?
            .query_row([id.to_string()], read)
            .optional()?
            .map(facts)
            .transpose()
    }

    /// Each flock with the first farm day on which it was gathered from. Looks at every line.
    pub fn first_rounds(&self) -> Result<Vec<(Id, Species, String)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT coop, species, min(day) FROM line WHERE measure = 'rounds' AND n > 0
             GROUP BY coop, species",
        )?;
        let rows = statement.query_map([], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, String>(2)?,
            ))
        })?;
        let mut all = Vec::new();
        for row in rows {
            let (coop, species, day) = row?;
            if let (Ok(coop), Some(species)) = (coop.parse(), Species::from_code(&species)) {
                all.push((coop, species, day));
            }
        }
        Ok(all)
    }

    /// The first farm day of any record of the work.
    pub fn first_day(&self) -> Result<Option<String>, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT min(day) FROM record WHERE doc <> 'farm' AND day <> ''")?
            .query_row([], |row| row.get(0))?)
    }

    /// Records that were moved in time by an amendment.
    pub fn moved_in_time(&self) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT DISTINCT target FROM record WHERE kind = ?1
             AND json_extract(fields, '$.set.at') IS NOT NULL",
        )?;
        let rows = statement.query_map(params![Kind::Amend.code()], |row| row.get(0))?;
        let mut all = Vec::new();
        for row in rows {
            let text: String = row?;
            all.extend(text.parse::<Id>());
        }
        Ok(all)
    }
}

type Columns = (String, String, Vec<u8>, i64);

fn read(row: &rusqlite::Row<'_>) -> rusqlite::Result<Columns> {
    Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
}

fn facts((id, doc, base, made_at): Columns) -> Result<FirstFacts, StoreError> {
    Ok(FirstFacts {
        id: super::rows::id(&id)?,
        doc: doc.parse().map_err(StoreError::Damaged)?,
        fields: decode(&base).map_err(|e| StoreError::Damaged(e.to_string()))?,
        made_at,
    })
}
