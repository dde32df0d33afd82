use rusqlite::Connection;

use super::StoreError;

/// Marks the file as a database of this server ("PdSv").
const APPLICATION: i32 = 0x5064_5376;

/// The steps from an empty file on, in order; step `n` makes layout `n + 1`.
const STEPS: &[&str] = &[
    include_str!("sql/0001_init.sql"),
    include_str!("sql/0002_roles.sql"),
];

/// The newest layout.
pub const VERSION: u32 = STEPS.len() as u32;

/// Brings a database to the newest layout in one transaction, so that two programs that open it at
/// once do not both try.
pub(super) fn migrate(connection: &mut Connection) -> Result<(), StoreError> {
    let tx = connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    let found: u32 = tx.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let application: i32 = tx.query_row("PRAGMA application_id", [], |row| row.get(0))?;
    let tables: u32 = tx.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables > 0 && application != APPLICATION {
        return Err(StoreError::Damaged("another program made it".into()));
    }
    if found > VERSION {
        return Err(StoreError::TooNew {
            found,
            known: VERSION,
        });
    }
    for step in &STEPS[found as usize..] {
        tx.execute_batch(step)?;
    }
    if found < VERSION {
        tx.pragma_update(None, "user_version", VERSION)?;
        tx.pragma_update(None, "application_id", APPLICATION)?;
    }
    Ok(tx.commit()?)
}
