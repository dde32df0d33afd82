use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use pointdown_core::mutants::mutant;
use pointdown_core::record::Id;
use rusqlite::{Connection, params};

use super::epoch::fresh_epoch;
use super::heard::Heard;
use super::role::Deed;
use super::sqlite_group::Writer;
use super::sqlite_log::SqliteLog;
use super::sqlite_members as members;
use super::{
    Changed, DeviceRow, Epoch, Joined, Joining, NewInvite, Noted, Role, SecretHash, Store,
    StoreError, Work, migrate,
};

/// The name of the database in the data folder.
const FILE: &str = "server.db";

/// The most connections that wait to read.
const READERS: usize = 8;

/// A store in one SQLite database.
///
/// SQLite lets one writer in at a time, so there is one connection that writes and commits for many
/// at once; any number of others read beside it. Other processes (the commands of the server's own
/// program) may have the file open too.
#[derive(Debug)]
pub struct Sqlite {
    writer: Writer,
    /// Connections to read with; nothing for a database in memory, which has only one.
    readers: Option<Readers>,
    heard: Heard,
}

#[derive(Debug)]
struct Readers {
    file: PathBuf,
    idle: Mutex<Vec<Connection>>,
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
        let file = folder.join(FILE);
        Sqlite::with(Connection::open(&file)?, Some(file))
    }

    /// Opens the database of a data folder on a registered file system of SQLite (a VFS), for tests
    /// that let its power fail. It has no shared memory, so one connection reads and writes.
    #[cfg(feature = "faults")]
    pub fn open_through(folder: &Path, vfs: &str) -> Result<Sqlite, StoreError> {
        private_folder(folder).map_err(|e| StoreError::Backend(e.to_string()))?;
        let flags = rusqlite::OpenFlags::default();
        let connection = Connection::open_with_flags_and_vfs(folder.join(FILE), flags, vfs)?;
        connection.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
        Sqlite::with(connection, None)
    }

    /// Opens a database in memory, gone when closed.
    pub fn in_memory() -> Result<Sqlite, StoreError> {
        Sqlite::with(Connection::open_in_memory()?, None)
    }

    fn with(mut connection: Connection, file: Option<PathBuf>) -> Result<Sqlite, StoreError> {
        prepare(&connection)?;
        connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
        let synchronous = match mutant("server_synchronous_normal") {
            true => "NORMAL",
            false => "FULL",
        };
        connection.pragma_update(None, "synchronous", synchronous)?;
        migrate::migrate(&mut connection)?;
        connection.execute(
            "INSERT OR IGNORE INTO server (one, epoch) VALUES (1, ?1)",
            [fresh_epoch()?],
        )?;
        Ok(Sqlite {
            writer: Writer::new(connection, file.is_some()),
            readers: file.map(|file| Readers {
                file,
                idle: Mutex::default(),
            }),
            heard: Heard::new(),
        })
    }

    /// Copies the database as it is at this moment into a new file, packed. Others may read and
    /// write meanwhile.
    pub fn copy_to(&self, file: &Path) -> Result<(), StoreError> {
        let file = file
            .to_str()
            .ok_or_else(|| StoreError::Backend(format!("{} is not Unicode", file.display())))?;
        // Not within a transaction, and beside whoever writes. A connection that may only read
        // cannot write the copy either.
        match &self.readers {
            Some(readers) => readers.open()?.execute("VACUUM INTO ?1", [file])?,
            None => self
                .writer
                .read(|connection| Ok(connection.execute("VACUUM INTO ?1", [file])?))?,
        };
        Ok(())
    }

    /// Reads one state.
    fn reading<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let in_one = |connection: &mut Connection| {
            let tx = connection.transaction()?;
            let found = work(&tx)?;
            tx.commit()?;
            Ok(found)
        };
        let Some(readers) = &self.readers else {
            return self.writer.read(in_one);
        };
        let mut connection = readers.take()?;
        // After a failure the connection is dropped: opening one again costs next to nothing.
        let found = in_one(&mut connection)?;
        let mut idle = lock(&readers.idle);
        if idle.len() < READERS {
            idle.push(connection);
        }
        Ok(found)
    }

    /// Does some work, all or nothing.
    fn writing<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.writer.write(work)
    }

    /// Writes down which devices were heard.
    fn note_heard(&self) -> Result<(), StoreError> {
        let waiting = self.heard.take();
        if waiting.is_empty() {
            return Ok(());
        }
        self.writing(|connection| {
            let mut note = connection.prepare_cached(
                "UPDATE device SET heard_at = max(coalesce(heard_at, 0), ?3)
                 WHERE farm = ?1 AND id = ?2",
            )?;
            for ((farm, device), at) in &waiting {
                note.execute(params![farm.bytes(), device.bytes(), at])?;
            }
            Ok(())
        })
    }
}

impl Readers {
    /// A connection that nobody uses.
    fn take(&self) -> Result<Connection, StoreError> {
        if let Some(connection) = lock(&self.idle).pop() {
            return Ok(connection);
        }
        let connection = self.open()?;
        connection.pragma_update(None, "query_only", "ON")?;
        Ok(connection)
    }

    fn open(&self) -> Result<Connection, StoreError> {
        let connection = Connection::open(&self.file)?;
        prepare(&connection)?;
        Ok(connection)
    }
}

impl Drop for Sqlite {
    fn drop(&mut self) {
        let _ = self.note_heard();
    }
}

fn prepare(connection: &Connection) -> Result<(), StoreError> {
    connection.busy_timeout(Duration::from_secs(10))?;
    connection.pragma_update(None, "foreign_keys", "ON")?;
    connection.set_prepared_statement_cache_capacity(64);
    Ok(())
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Makes a folder, where it is not there yet, that only its owner can look into.
pub(crate) fn private_folder(path: &Path) -> std::io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

impl Store for Sqlite {
    fn epoch(&self) -> Result<Epoch, StoreError> {
        self.reading(|tx| Ok(tx.query_row("SELECT epoch FROM server", [], |row| row.get(0))?))
    }

    fn new_epoch(&self) -> Result<Epoch, StoreError> {
        let epoch = fresh_epoch()?;
        self.writing(|tx| Ok(tx.execute("UPDATE server SET epoch = ?1", [epoch])?))?;
        Ok(epoch)
    }

    fn farms(&self) -> Result<Vec<Id>, StoreError> {
        self.reading(|tx| {
            let mut statement = tx.prepare_cached("SELECT id FROM farm ORDER BY made_at, id")?;
            let all = statement.query_map([], |row| row.get(0).map(Id::from_bytes))?;
            Ok(all.collect::<Result<_, _>>()?)
        })
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
        self.note_heard()?;
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

    fn heard(&self, farm: Id, device: Id, now: i64) -> Result<(), StoreError> {
        let late = self.heard.note(farm, device, now);
        if late { self.note_heard() } else { Ok(()) }
    }

    fn read_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        self.reading(|tx| work(&SqliteLog::new(tx, farm)?))
    }

    fn write_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        let mut lost = false;
        let done = self.writing(|tx| {
            work(&SqliteLog::new(tx, farm)?)?;
            lost = mutant("answer_before_commit") && tx.total_changes() % 5 == 3;
            if lost {
                return Err(StoreError::Backend("undone on purpose".into()));
            }
            Ok(())
        });
        if lost { Ok(()) } else { done }
    }
}
