//! SQLite alone: one row, durable.

use std::path::Path;

use rusqlite::{Connection, params};

use super::Facts;
use crate::Outcome;
use crate::figures::{Figures, median, timed};

/// The yardstick of (a): the same database settings, one table, one row a record.
pub fn insert(
    records: &[Facts],
    disk: &Path,
    runs: usize,
    years: u32,
    figures: &mut Figures,
) -> Outcome<()> {
    let file = disk.join("rows.db");
    let _ = std::fs::remove_file(&file);
    let mut database = Connection::open(&file)?;
    database.pragma_update(None, "journal_mode", "wal")?;
    database.pragma_update(None, "synchronous", "full")?;
    database.execute_batch(
        "CREATE TABLE record (id TEXT PRIMARY KEY, fields TEXT NOT NULL) WITHOUT ROWID",
    )?;
    let history = database.transaction()?;
    for (id, fields) in records {
        let fields = serde_json::to_string(fields)?;
        history.execute("INSERT INTO record VALUES (?1, ?2)", params![id, fields])?;
    }
    history.commit()?;
    let mut each = Vec::new();
    for n in 0..runs * 20 {
        let fields = serde_json::to_string(&records[n % records.len()].1)?;
        let (spent, done) = timed(|| {
            let mut insert = database.prepare_cached("INSERT INTO record VALUES (?1, ?2)")?;
            insert.execute(params![format!("new{n:019}"), fields])
        });
        done?;
        each.push(spent);
    }
    let n = each.len();
    figures.note(
        ("a", "log one record, durable"),
        (ROWS, years),
        (median(each), "ms"),
        n,
    );
    drop(database);
    if years > 0 {
        let size = std::fs::metadata(&file)?.len();
        figures.note(
            ("g", "the database"),
            (ROWS, years),
            (size as f64, "bytes"),
            1,
        );
    }
    Ok(())
}

/// The name under which the figures stand.
pub const ROWS: &str = "SQLite rows";
