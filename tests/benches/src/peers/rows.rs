//! SQLite alone: one row, durable.

use std::path::Path;

use rusqlite::{Connection, params};

use super::Workload;
use crate::Outcome;
use crate::figures::{Figures, timed};

/// The name under which the figures stand.
pub const ROWS: &str = "SQLite rows";

/// The yardstick of (a): the same database settings, one table, one row a record.
pub fn insert(work: &Workload, disk: &Path, runs: usize, figures: &mut Figures) -> Outcome<()> {
    let file = disk.join("rows.db");
    let _ = std::fs::remove_file(&file);
    let mut database = Connection::open(&file)?;
    database.pragma_update(None, "locking_mode", "exclusive")?;
    database.pragma_update(None, "journal_mode", "wal")?;
    database.pragma_update(None, "synchronous", "full")?;
    database.execute_batch(
        "CREATE TABLE record (id TEXT PRIMARY KEY, fields TEXT NOT NULL) WITHOUT ROWID",
    )?;
    let history = database.transaction()?;
    for (id, fields) in &work.records {
        let fields = serde_json::to_string(fields)?;
        history.execute("INSERT INTO record VALUES (?1, ?2)", params![id, fields])?;
    }
    history.commit()?;
    let mut each = Vec::new();
    for n in 0..runs * 20 {
        let (id, fields) = work.another(n);
        let fields = serde_json::to_string(&fields)?;
        let (spent, done) = timed(|| {
            let mut insert = database.prepare_cached("INSERT INTO record VALUES (?1, ?2)")?;
            insert.execute(params![id, fields])
        });
        done?;
        each.push(spent);
    }
    let here = (ROWS, work.years);
    figures.median(("a", "log one record, durable"), here, each, "ms");
    drop(database);
    if work.years > 0 {
        let size = std::fs::metadata(&file)?.len() as f64;
        figures.note(("g", "the database"), here, (size, "bytes"), 1);
    }
    Ok(())
}
