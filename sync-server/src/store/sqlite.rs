use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use pointdown_core::mutants::mutant;
use pointdown_core::record::Id;
use rusqlite::{Connection, TransactionBehavior};

use super::role::Deed;
use super::sqlite_log::SqliteLog;
use super::sqlite_members as members;
use super::{
    Changed, DeviceRow, Epoch, Joined, Joining, NewInvite, Noted, Role, SecretHash, Store,
    StoreError, Work, migrate,
};

/// The name of the database in the data folder.
const FILE: &str = "server.db";

/// A store in one SQLite database.
///
/// One connection behind one lock: a transaction takes a millisecond or so, and SQLite lets one
/// writer in at a time anyway. Other processes (the commands of the server's own program) may have
/// the file open too.
#[derive(Debug)]
pub struct Sqlite {
    connection: Mutex<Connection>,
}

impl Sqlite {
    /// Opens the database of a data folder, or makes folder and database.
    pub fn open(folder: &Path) -> Result<Sqlite, StoreError> {
        // Everyone's records are in it.
        private_folder(folder).map_err(|e| {
            StoreError::Backend(format!(
                "the folder {} cannot be made: {e}",
                folder.display()
            ))
        })?;
        Sqlite::with(Connection::open(folder.join(FILE))?)
    }

    /// Opens a database in memory, gone when closed.
    pub fn in_memory() -> Result<Sqlite, StoreError> {
        Sqlite::with(Connection::open_in_memory()?)
    }

    fn with(mut connection: Connection) -> Result<Sqlite, StoreError> {
        connection.busy_timeout(Duration::from_secs(10))?;
        connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "foreign_keys", "ON")?;
        connection.set_prepared_statement_cache_capacity(64);
        migrate::migrate(&mut connection)?;
        connection.execute(
            "INSERT OR IGNORE INTO server (one, epoch) VALUES (1, ?1)",
            [fresh_epoch()?],
        )?;
        Ok(Sqlite {
            connection: Mutex::new(connection),
        })
    }

    /// A panic while the lock was held undid its transaction, so the connection is still good.
    fn lock(&self) -> MutexGuard<'_, Connection> {
        self.connection
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Copies the database as it is at this moment into a new file, packed. Others may read and
    /// write meanwhile.
    pub fn copy_to(&self, file: &Path) -> Result<(), StoreError> {
        let file = file
            .to_str()
            .ok_or_else(|| StoreError::Backend(format!("{} is not Unicode", file.display())))?;
        self.lock().execute("VACUUM INTO ?1", [file])?;
        Ok(())
    }

    fn within<T>(
        &self,
        behavior: TransactionBehavior,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut connection = self.lock();
        let tx = connection.transaction_with_behavior(behavior)?;
        let done = work(&tx)?;
        tx.commit()?;
        Ok(done)
    }

    fn reading<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.within(TransactionBehavior::Deferred, work)
    }

    fn writing<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.within(TransactionBehavior::Immediate, work)
    }
}

/// Makes a folder, where it is not there yet, that only its owner can look into.
pub(crate) fn private_folder(path: &Path) -> std::io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// Sixteen random bytes.
pub(super) fn fresh_epoch() -> Result<Epoch, StoreError> {
    let mut epoch = [0u8; 16];
    getrandom::fill(&mut epoch)
        .map_err(|e| StoreError::Backend(format!("no randomness to be had: {e}")))?;
    Ok(epoch)
}

impl Store for Sqlite {
    fn epoch(&self) -> Result<Epoch, StoreError> {
        Ok(self
            .lock()
            .query_row("SELECT epoch FROM server", [], |row| row.get(0))?)
    }

    fn new_epoch(&self) -> Result<Epoch, StoreError> {
        let epoch = fresh_epoch()?;
        self.lock()
            .execute("UPDATE server SET epoch = ?1", [epoch])?;
        Ok(epoch)
    }

    fn farms(&self) -> Result<Vec<Id>, StoreError> {
        let connection = self.lock();
        let mut statement =
            connection.prepare_cached("SELECT id FROM farm ORDER BY made_at, id")?;
        let all = statement.query_map([], |row| row.get(0).map(Id::from_bytes))?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    fn add_invite(&self, invite: &NewInvite) -> Result<(), StoreError> {
        self.writing(|tx| members::add_invite(tx, invite))
    }

    fn join(&self, joining: &Joining) -> Result<Joined, StoreError> {
        self.writing(|tx| members::join(tx, joining))
    }

    fn device(&self, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError> {
        self.reading(|tx| members::device(tx, token))
    }

    fn devices(&self, farm: Id) -> Result<Vec<DeviceRow>, StoreError> {
        self.reading(|tx| members::devices(tx, farm))
    }

    fn renew_token(&self, device: Id, next: &SecretHash, now: i64) -> Result<(), StoreError> {
        self.writing(|tx| members::renew_token(tx, device, next, now))
    }

    fn settle_token(&self, next: &SecretHash) -> Result<(), StoreError> {
        self.writing(|tx| members::settle_token(tx, next))
    }

    fn revoke(
        &self,
        farm: Id,
        device: Id,
        by: Option<Id>,
        now: i64,
    ) -> Result<Changed, StoreError> {
        self.writing(|tx| members::change(tx, (farm, device), Deed::ShutOut, by, now))
    }

    fn change_role(
        &self,
        farm: Id,
        device: Id,
        role: Role,
        by: Option<Id>,
        now: i64,
    ) -> Result<Changed, StoreError> {
        self.writing(|tx| members::change(tx, (farm, device), Deed::Give(role), by, now))
    }

    fn audit(&self, farm: Id, before: Option<u64>, most: u32) -> Result<Vec<Noted>, StoreError> {
        self.reading(|tx| members::audit(tx, farm, before, most))
    }

    fn check(&self) -> Result<Vec<String>, StoreError> {
        let found = self.reading(|tx| {
            let mut wrong = Vec::new();
            let mut statement = tx.prepare("PRAGMA integrity_check")?;
            let lines = statement.query_map([], |row| row.get::<_, String>(0))?;
            for line in lines {
                wrong.push(line?);
            }
            wrong.retain(|line| line != "ok");
            let mut statement = tx.prepare("PRAGMA foreign_key_check")?;
            let lines = statement.query_map([], |row| row.get::<_, String>(0))?;
            for table in lines {
                wrong.push(format!("a row of {} belongs to nothing", table?));
            }
            Ok(wrong)
        });
        match found {
            // So damaged that the check itself breaks off.
            Err(StoreError::Damaged(why)) => Ok(vec![why]),
            found => found,
        }
    }

    fn ready(&self) -> Result<(), StoreError> {
        self.writing(|tx| {
            tx.execute("UPDATE server SET epoch = epoch", [])?;
            Ok(())
        })
    }

    fn read_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        self.reading(|tx| work(&SqliteLog::new(tx, farm)?))
    }

    fn write_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        work(&SqliteLog::new(&tx, farm)?)?;
        if mutant("answer_before_commit") && tx.total_changes() % 5 == 3 {
            return Ok(());
        }
        Ok(tx.commit()?)
    }
}
