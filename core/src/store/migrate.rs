use rusqlite::Connection;

use super::StoreError;

/// The steps from an empty file on, in order; step `n` makes layout `n + 1`.
const STEPS: &[&str] = &[
    include_str!("sql/0001_init.sql"),
    include_str!("sql/0002_last_op.sql"),
    include_str!("sql/0003_review.sql"),
];

/// The newest layout.
pub const VERSION: u32 = STEPS.len() as u32;

/// The layout of a database, 0 for an empty file. Only reads: a file that is refused stays as it is.
pub(super) fn layout(connection: &Connection) -> Result<u32, StoreError> {
    let found: u32 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let (tables, ours): (u32, u32) = connection.query_row(
        "SELECT count(*), count(*) FILTER (WHERE name IN ('meta', 'doc', 'change'))
         FROM sqlite_schema WHERE type = 'table'",
        [],
        |row| Ok((row.get(0)?, row.get(1)?)),
    )?;
    if (found == 0 && tables > 0) || (found > 0 && ours < 3) {
        return Err(StoreError::Damaged(
            "it holds tables of another program".into(),
        ));
    }
    if found > VERSION {
        return Err(StoreError::TooNew {
            found,
            known: VERSION,
        });
    }
    Ok(found)
}

/// Brings a database to a layout, each step in a transaction of its own. Steps that have run are
/// not run again.
pub fn migrate_to(connection: &mut Connection, version: u32) -> Result<(), StoreError> {
    let found = layout(connection)?;
    for (n, step) in STEPS.iter().enumerate() {
        let makes = n as u32 + 1;
        if makes > found && makes <= version {
            let tx = connection.transaction()?;
            tx.execute_batch(step)?;
            tx.pragma_update(None, "user_version", makes)?;
            tx.commit()?;
        }
    }
    Ok(())
}
