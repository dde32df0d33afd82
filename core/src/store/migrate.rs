use rusqlite::Connection;

use super::StoreError;

/// The steps from an empty file on, in order; step `n` makes layout `n + 1`.
const STEPS: &[&str] = &[
    include_str!("sql/0001_init.sql"),
    include_str!("sql/0002_last_op.sql"),
];

/// The newest layout.
pub const VERSION: u32 = STEPS.len() as u32;

/// Brings a database to a layout, each step in a transaction of its own. Steps that have run are
/// not run again.
pub fn migrate_to(connection: &mut Connection, version: u32) -> Result<(), StoreError> {
    let found: u32 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    if found > VERSION {
        return Err(StoreError::TooNew {
            found,
            known: VERSION,
        });
    }
    if found == 0 {
        let tables: u32 =
            connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        if tables > 0 {
            return Err(StoreError::Damaged(
                "it holds tables of another program".into(),
            ));
        }
    }
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
