use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::config::DbConfig;

use super::{StoreError, Tx, migrate};
use crate::mutants::mutant;

/// So many statements are kept parsed: more than there are, so that a walk through all of them, as at
/// each look at the review list, parses none again.
const STATEMENTS: usize = 192;

/// Where a database is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Location {
    /// In a file.
    File(PathBuf),
    /// In memory, gone when closed.
    Memory,
}

impl From<&Path> for Location {
    fn from(path: &Path) -> Location {
        Location::File(path.to_path_buf())
    }
}

#[cfg(feature = "faults")]
fn open_file(path: &Path) -> rusqlite::Result<Connection> {
    match super::faults::vfs() {
        Some(vfs) => Connection::open_with_flags_and_vfs(path, rusqlite::OpenFlags::default(), vfs),
        None => Connection::open(path),
    }
}

#[cfg(not(feature = "faults"))]
fn open_file(path: &Path) -> rusqlite::Result<Connection> {
    Connection::open(path)
}

/// When SQLite waits for the disk: at every commit.
fn synchronous() -> &'static str {
    if mutant("synchronous_off") {
        "OFF"
    } else if mutant("synchronous_normal") {
        "NORMAL"
    } else {
        "FULL"
    }
}

/// An open database. It is the only one that has the file open: what it keeps in memory beside it
/// can never be older than the file.
#[derive(Debug)]
pub struct Store {
    pub(super) connection: Connection,
}

impl Store {
    /// Opens the database, makes or upgrades its tables, and locks it for this process.
    pub fn open(location: &Location) -> Result<Store, StoreError> {
        let mut connection = match location {
            Location::File(path) => open_file(path)?,
            Location::Memory => Connection::open_in_memory()?,
        };
        // Whoever has the file open keeps it open; a short wait is for one that is just closing.
        connection.busy_timeout(Duration::from_secs(1))?;
        // A test's own file system has no shared memory; there the index of the log is kept in this
        // process from the first look on. Elsewhere a file is looked at before anything is asked.
        #[cfg(feature = "faults")]
        if super::faults::vfs().is_some() {
            connection.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
        }
        migrate::layout(&connection)?;
        // In a browser there is no shared memory and one connection only; there the journal is a
        // plain one. Everywhere else a log that is written ahead, synced at every commit.
        if !cfg!(target_family = "wasm") {
            connection.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
            connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
            // Without this, SQLite's own build here parses a statement again whenever another value
            // is bound to it, to weigh statistics that nobody gathers.
            connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
        }
        connection.pragma_update(None, "synchronous", synchronous())?;
        connection.pragma_update(None, "foreign_keys", "ON")?;
        connection.pragma_update(None, "temp_store", "MEMORY")?;
        connection.set_prepared_statement_cache_capacity(STATEMENTS);
        migrate::migrate_to(&mut connection, migrate::VERSION)?;
        // An empty write takes the lock now, so that a second process hears it at once.
        connection.execute_batch("BEGIN IMMEDIATE; COMMIT")?;
        Ok(Store { connection })
    }

    /// Does something in one transaction: all of it is durable when this returns `Ok`, nothing of
    /// it happened otherwise.
    pub fn write<T, E: From<StoreError>>(
        &mut self,
        work: impl FnOnce(&Tx<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        self.leave_open_transaction()?;
        let transaction = self
            .connection
            .transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)
            .map_err(StoreError::from)?;
        let tx = Tx::new(transaction);
        let done = work(&tx)?;
        if mutant("ack_before_commit") && tx.sql.total_changes() % 7 == 3 {
            return Ok(done);
        }
        tx.commit()?;
        Ok(done)
    }

    /// Reads in one transaction.
    pub fn read<T, E: From<StoreError>>(
        &mut self,
        work: impl FnOnce(&Tx<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        self.leave_open_transaction()?;
        let transaction = self.connection.transaction().map_err(StoreError::from)?;
        work(&Tx::new(transaction))
    }

    /// Where a failing disk kept the last transaction from being undone, undoes it now: nobody was
    /// told that anything of it happened.
    fn leave_open_transaction(&mut self) -> Result<(), StoreError> {
        if !self.connection.is_autocommit() {
            self.connection.execute_batch("ROLLBACK")?;
        }
        Ok(())
    }

    /// Caps the file at so many pages (of 4096 bytes each); a write beyond is refused as on a full disk.
    pub fn cap(&mut self, pages: u32) -> Result<(), StoreError> {
        Ok(self
            .connection
            .pragma_update_and_check(None, "max_page_count", pages, |_| Ok(()))?)
    }

    /// Asks SQLite whether the file is whole; the first complaint if it is not.
    pub fn integrity(&mut self) -> Result<Option<String>, StoreError> {
        let said: String = self
            .connection
            .query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
        Ok((said != "ok").then_some(said))
    }

    /// Writes a whole copy of the database to a new file, while this one stays open.
    pub fn copy_to(&mut self, path: &Path) -> Result<(), StoreError> {
        self.connection
            .execute("VACUUM INTO ?1", [path.to_string_lossy()])?;
        Ok(())
    }
}
