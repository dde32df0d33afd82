use std::fmt::Write;

use chrono::NaiveDate;
use data_encoding::HEXLOWER;
use rusqlite::types::ValueRef;
use rusqlite::{OptionalExtension, params};
use serde::Serialize;

use super::rows::{balances, id_and_fields, place_lot_eggs, records};
use super::{StoreError, Tx};
use crate::book::{Line, Measure, Names, Place};
use crate::record::edits::Conflict;
use crate::record::{DocName, Fields, Id, Instant, Kind, Lot, Record, Zone};
use crate::trade::Species;

/// Which records to list.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// Only this kind.
    pub kind: Option<Kind>,
    /// Only from this farm day on.
    pub from: Option<NaiveDate>,
    /// Only up to this farm day.
    pub to: Option<NaiveDate>,
    /// Voided and refused ones too.
    pub all: bool,
    /// At most so many, the newest.
    pub most: Option<u32>,
}

/// A record as it stands, for lists.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Its id.
    pub id: Id,
    /// The document it stands in.
    pub doc: DocName,
    /// Its kind by word; a word of a later version is shown as it is.
    pub kind: String,
    /// When it happened.
    pub at: Instant,
    /// Its farm day; empty where it cannot be read.
    pub day: String,
    /// `live`, `voided` or `refused`.
    pub standing: &'static str,
    /// Why it does not stand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// The fields with amendments laid over.
    pub fields: Fields,
    /// Fields that people amended apart from each other.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub conflicts: Vec<Conflict>,
    /// Values that do not hold together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub problem: Option<String>,
    /// Fields that this version does not know.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub unknown: Vec<String>,
}

const COLUMNS: &str = "id, doc, kind, at, day, standing, why, fields, conflicts, problem";

/// The tables of the view, with their keys.
pub(super) const VIEWED: [(&str, &str); 6] = [
    ("record", "id"),
    ("stray", "doc, key, op, actor"),
    ("twin", "one, other"),
    ("move", "record, n"),
    ("balance", "place, species, lot"),
    ("line", "day, measure, coop, species, by, detail"),
];

impl Tx<'_> {
    /// The farm's zone as far as it is known here.
    pub fn zone(&self) -> Result<Zone, StoreError> {
        /// Of what is remembered beside the book, only the zone matters here.
        #[derive(serde::Deserialize)]
        struct Chosen {
            zone: Option<Zone>,
        }
        let chosen: Option<Chosen> = self.meta("setting")?;
        Ok(chosen.and_then(|c| c.zone).unwrap_or(Zone::UTC))
    }

    /// One record.
    pub fn record(&self, id: Id) -> Result<Option<Row>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM record WHERE id = ?1");
        Ok(self
            .sql
            .prepare_cached(&sql)?
            .query_row([id.to_string()], read_row)
            .optional()?)
    }

    /// Records, the newest first.
    pub fn records(&self, filter: &Filter) -> Result<Vec<Row>, StoreError> {
        // Only what is asked for stands in the query, so that an index can answer it: the few coops of
        // a farm must not cost a look at twenty years of records.
        let asked = |here: bool, condition: &'static str| if here { condition } else { "" };
        let sql = format!(
            "SELECT {COLUMNS} FROM record WHERE (?4 OR standing = 0){}{}{}
             ORDER BY at DESC, id DESC LIMIT ?5",
            asked(filter.kind.is_some(), " AND kind = ?1"),
            asked(filter.from.is_some(), " AND day >= ?2"),
            asked(filter.to.is_some(), " AND day <= ?3"),
        );
        let mut statement = self.sql.prepare_cached(&sql)?;
        let day = |day: Option<NaiveDate>| day.map(|d| d.to_string());
        let rows = statement.query_map(
            params![
                filter.kind.map(Kind::code),
                day(filter.from),
                day(filter.to),
                filter.all,
                filter.most.map_or(-1, i64::from)
            ],
            read_row,
        )?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Ids that end or begin with these characters, at most ten.
    pub fn ids_like(&self, text: &str) -> Result<Vec<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id FROM record WHERE substr(id, -length(?1)) = ?1 OR substr(id, 1, length(?1)) = ?1
             LIMIT 10",
        )?;
        let rows = statement.query_map([text], |row| row.get::<_, String>(0))?;
        rows.map(|id| {
            let id = id?;
            id.parse()
                .map_err(|_| StoreError::Damaged(format!("no id {id}")))
        })
        .collect()
    }

    /// The highest id from one to another.
    pub fn last_id(&self, from: Id, to: Id) -> Result<Option<Id>, StoreError> {
        let id: Option<String> = self
            .sql
            .prepare_cached("SELECT max(id) FROM record WHERE id BETWEEN ?1 AND ?2")?
            .query_row([from.to_string(), to.to_string()], |row| row.get(0))?;
        Ok(id.and_then(|id| id.parse().ok()))
    }

    /// Whether a record of this kind (any, where none is named) is here and stands.
    pub fn has_record(&self, kind: Option<Kind>, id: Id) -> Result<bool, StoreError> {
        Ok(self
            .sql
            .prepare_cached(
                "SELECT 1 FROM record WHERE id = ?1 AND (?2 IS NULL OR (kind = ?2 AND standing = 0))",
            )?
            .exists(params![id.to_string(), kind.map(Kind::code)])?)
    }

    /// How many records of the months are here; set-up facts not counted.
    pub fn record_count(&self) -> Result<u64, StoreError> {
        Ok(self
            .sql
            .prepare_cached("SELECT count(*) FROM record WHERE doc <> 'farm'")?
            .query_row([], |row| row.get::<_, i64>(0))? as u64)
    }

    /// Names of everything that has one, retired and voided ones too: old records speak of them.
    pub fn names(&self) -> Result<Names, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT id, json_extract(fields, '$.name') FROM record
             WHERE kind IN ('coop', 'person', 'device', 'cooler', 'outlet', 'farm')
               AND standing < 2",
        )?;
        let rows = statement.query_map([], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, Option<String>>(1)?))
        })?;
        let mut names = Names::new();
        for row in rows {
            let (id, name) = row?;
            if let (Ok(id), Some(name)) = (id.parse(), name) {
                names.insert(id, name);
            }
        }
        Ok(names)
    }

    /// The lines of a span of farm days.
    pub fn lines(&self, from: NaiveDate, to: NaiveDate) -> Result<Vec<Line>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT day, measure, coop, species, by, detail, n FROM line
             WHERE day BETWEEN ?1 AND ?2 ORDER BY day, measure, coop, species, by, detail",
        )?;
        let rows = statement.query_map(params![from.to_string(), to.to_string()], |row| {
            let text = |column: usize| row.get::<_, String>(column);
            Ok((
                text(0)?,
                text(1)?,
                text(2)?,
                text(3)?,
                text(4)?,
                text(5)?,
                row.get(6)?,
            ))
        })?;
        rows.map(|row| {
            let (day, measure, coop, species, by, detail, n) = row?;
            let wrong = || StoreError::Damaged(format!("a line of {day} cannot be read"));
            Ok(Line {
                day: day.parse().map_err(|_| wrong())?,
                measure: Measure::from_code(&measure).ok_or_else(wrong)?,
                coop: coop.parse().ok(),
                species: Species::from_code(&species).ok_or_else(wrong)?,
                by: by.parse().ok(),
                detail,
                n,
            })
        })
        .collect()
    }

    /// Where eggs are at the end of a farm day: today's balances less what moved later.
    pub fn on_hand(&self, day: NaiveDate) -> Result<Vec<(Place, Lot, i64)>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "SELECT place, lot, sum(eggs) FROM (
                 SELECT place, lot, eggs FROM balance WHERE place IN ('basket', 'clean', 'cartoned')
                 UNION ALL SELECT source, lot, eggs FROM move WHERE day > ?1
                 UNION ALL SELECT dest, lot, -eggs FROM move WHERE day > ?1)
             WHERE place IN ('basket', 'clean', 'cartoned')
             GROUP BY place, lot HAVING sum(eggs) <> 0 ORDER BY place, lot",
        )?;
        balances(statement.query_map([day.to_string()], place_lot_eggs)?)
    }

    /// Where eggs are by all records that are here, whatever their day; every place.
    pub fn balances(&self) -> Result<Vec<(Place, Lot, i64)>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT place, lot, eggs FROM balance ORDER BY place, lot")?;
        balances(statement.query_map([], place_lot_eggs)?)
    }

    /// Every live record, typed; for folds that are held against the tables.
    pub fn live_records(&self) -> Result<Vec<Record>, StoreError> {
        let mut statement = self
            .sql
            .prepare_cached("SELECT id, fields FROM record WHERE standing = 0")?;
        records(statement.query_map([], id_and_fields)?)
    }

    /// Every row of the view as text, in key order: two databases with the same set of changes
    /// give the same text to the byte.
    pub fn view(&self) -> Result<Vec<String>, StoreError> {
        let mut all = Vec::new();
        for (table, order) in VIEWED {
            let mut statement = self
                .sql
                .prepare(&format!("SELECT * FROM {table} ORDER BY {order}"))?;
            let columns = statement.column_count();
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                let mut text = String::from(table);
                for column in 0..columns {
                    text.push('|');
                    add_as_text(&mut text, row.get_ref(column)?);
                }
                all.push(text);
            }
        }
        Ok(all)
    }
}

/// A value so that no two of them read alike.
fn add_as_text(text: &mut String, value: ValueRef<'_>) {
    // Writing into a text cannot fail.
    let _ = match value {
        ValueRef::Null => write!(text, "null"),
        ValueRef::Integer(n) => write!(text, "{n}"),
        ValueRef::Real(x) => write!(text, "real {x:?}"),
        ValueRef::Text(bytes) => match std::str::from_utf8(bytes) {
            Ok(own) => write!(text, "{own:?}"),
            Err(_) => write!(text, "text x{}", HEXLOWER.encode(bytes)),
        },
        ValueRef::Blob(bytes) => write!(text, "x{}", HEXLOWER.encode(bytes)),
    };
}

fn read_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<Row> {
    let wrong = |column: usize, what: String| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, what.into())
    };
    let id: String = row.get(0)?;
    let id: Id = id.parse().map_err(|_| wrong(0, format!("no id {id}")))?;
    let doc: String = row.get(1)?;
    let fields: String = row.get(7)?;
    let fields: Fields = serde_json::from_str(&fields).map_err(|e| wrong(7, e.to_string()))?;
    let conflicts: Option<String> = row.get(8)?;
    let unknown = Record::read(id, &fields)
        .map(|r| r.unknown.keys().cloned().collect())
        .unwrap_or_default();
    Ok(Row {
        id,
        doc: doc.parse().map_err(|e| wrong(1, e))?,
        kind: row.get(2)?,
        at: Instant::from_ms(row.get(3)?),
        day: row.get(4)?,
        standing: match row.get(5)? {
            0 => "live",
            1 => "voided",
            _ => "refused",
        },
        why: row.get(6)?,
        fields,
        conflicts: match conflicts {
            Some(text) => serde_json::from_str(&text).map_err(|e| wrong(8, e.to_string()))?,
            None => Vec::new(),
        },
        problem: row.get(9)?,
        unknown,
    })
}
