use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use pointdown_core::record::Id;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::admit::{Invited, admitted};
use super::heard::Heard;
use super::sqlite_group::Writer;
use super::sqlite_log::SqliteLog;
use super::{
    DeviceRow, Epoch, Joined, Joining, Log, NewInvite, Registered, SecretHash, Store, StoreError,
    Work, migrate,
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
        std::fs::create_dir_all(folder).map_err(|e| {
            StoreError::Backend(format!(
                "the folder {} cannot be made: {e}",
                folder.display()
            ))
        })?;
        let file = folder.join(FILE);
        Sqlite::with(Connection::open(&file)?, Some(file))
    }

    /// Opens a database in memory, gone when closed.
    pub fn in_memory() -> Result<Sqlite, StoreError> {
        Sqlite::with(Connection::open_in_memory()?, None)
    }

    fn with(mut connection: Connection, file: Option<PathBuf>) -> Result<Sqlite, StoreError> {
        prepare(&connection)?;
        connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
        connection.pragma_update(None, "synchronous", "FULL")?;
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

    /// Reads one state.
    fn read<T>(
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
        let idle = lock(&readers.idle).pop();
        let mut connection = match idle {
            Some(connection) => connection,
            None => {
                let connection = Connection::open(&readers.file)?;
                prepare(&connection)?;
                connection.pragma_update(None, "query_only", "ON")?;
                connection
            }
        };
        // After a failure the connection is dropped: opening one again costs next to nothing.
        let found = in_one(&mut connection)?;
        let mut idle = lock(&readers.idle);
        if idle.len() < READERS {
            idle.push(connection);
        }
        Ok(found)
    }

    /// Writes down which devices were heard.
    fn note_heard(&self) -> Result<(), StoreError> {
        let waiting = self.heard.take();
        if waiting.is_empty() {
            return Ok(());
        }
        self.writer.write(|connection| {
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

/// Sixteen random bytes.
pub(super) fn fresh_epoch() -> Result<Epoch, StoreError> {
    let mut epoch = [0u8; 16];
    getrandom::fill(&mut epoch)
        .map_err(|e| StoreError::Backend(format!("no randomness to be had: {e}")))?;
    Ok(epoch)
}

fn farm_exists(tx: &Connection, farm: Id) -> Result<bool, StoreError> {
    Ok(tx
        .prepare_cached("SELECT 1 FROM farm WHERE id = ?1")?
        .exists([farm.bytes()])?)
}

const DEVICE: &str =
    "SELECT id, farm, name, kind, token, joined_at, heard_at, revoked_at FROM device";

fn device_row(row: &Row<'_>) -> rusqlite::Result<DeviceRow> {
    Ok(DeviceRow {
        id: Id::from_bytes(row.get(0)?),
        farm: Id::from_bytes(row.get(1)?),
        name: row.get(2)?,
        kind: row.get(3)?,
        token: row.get(4)?,
        joined_at: row.get(5)?,
        heard_at: row.get(6)?,
        revoked_at: row.get(7)?,
    })
}

/// Which farm an invite lets this device into, or why it does not; and whether the farm is new.
fn admit(tx: &Connection, joining: &Joining) -> Result<Result<(Id, bool), Joined>, StoreError> {
    let invite = tx
        .prepare_cached("SELECT farm, expires, used_at FROM invite WHERE code = ?1")?
        .query_row([joining.code], |row| {
            Ok(Invited {
                farm: row.get::<_, Option<[u8; 16]>>(0)?.map(Id::from_bytes),
                expires: row.get(1)?,
                used_at: row.get(2)?,
            })
        })
        .optional()?;
    admitted(invite, joining, |farm| farm_exists(tx, farm))
}

impl Store for Sqlite {
    fn epoch(&self) -> Result<Epoch, StoreError> {
        self.read(|tx| Ok(tx.query_row("SELECT epoch FROM server", [], |row| row.get(0))?))
    }

    fn new_epoch(&self) -> Result<Epoch, StoreError> {
        let epoch = fresh_epoch()?;
        self.writer
            .write(|tx| Ok(tx.execute("UPDATE server SET epoch = ?1", [epoch])?))?;
        Ok(epoch)
    }

    fn farms(&self) -> Result<Vec<Id>, StoreError> {
        self.read(|tx| {
            let mut statement = tx.prepare_cached("SELECT id FROM farm ORDER BY made_at, id")?;
            let all = statement.query_map([], |row| row.get(0).map(Id::from_bytes))?;
            Ok(all.collect::<Result<_, _>>()?)
        })
    }

    fn add_invite(&self, invite: &NewInvite) -> Result<(), StoreError> {
        self.writer.write(|tx| {
            if let Some(farm) = invite.farm
                && !farm_exists(tx, farm)?
            {
                return Err(StoreError::NoSuchFarm);
            }
            tx.execute(
                "INSERT INTO invite (code, farm, made_at, expires) VALUES (?1, ?2, ?3, ?4)",
                params![
                    invite.code,
                    invite.farm.as_ref().map(Id::bytes),
                    invite.made_at,
                    invite.expires
                ],
            )?;
            Ok(())
        })
    }

    fn join(&self, joining: &Joining) -> Result<Joined, StoreError> {
        self.writer.write(|tx| join(tx, joining))
    }

    fn device(&self, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError> {
        self.read(|tx| {
            Ok(tx
                .prepare_cached(&format!("{DEVICE} WHERE token = ?1"))?
                .query_row([token], device_row)
                .optional()?)
        })
    }

    fn devices(&self, farm: Id) -> Result<Vec<DeviceRow>, StoreError> {
        self.note_heard()?;
        self.read(|tx| {
            let mut statement =
                tx.prepare_cached(&format!("{DEVICE} WHERE farm = ?1 ORDER BY joined_at, id"))?;
            let all = statement.query_map([farm.bytes()], device_row)?;
            Ok(all.collect::<Result<_, _>>()?)
        })
    }

    fn revoke(&self, farm: Id, device: Id, now: i64) -> Result<bool, StoreError> {
        self.writer.write(|tx| {
            let done = tx.execute(
                "UPDATE device SET revoked_at = ?3
                 WHERE farm = ?1 AND id = ?2 AND revoked_at IS NULL",
                params![farm.bytes(), device.bytes(), now],
            )?;
            Ok(done > 0)
        })
    }

    fn heard(&self, farm: Id, device: Id, now: i64) -> Result<(), StoreError> {
        let late = self.heard.note(farm, device, now);
        if late { self.note_heard() } else { Ok(()) }
    }

    fn read_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        self.read(|tx| work(&SqliteLog::new(tx, farm)?))
    }

    fn write_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        self.writer.write(|tx| work(&SqliteLog::new(tx, farm)?))
    }
}

fn join(tx: &Connection, joining: &Joining) -> Result<Joined, StoreError> {
    let (farm, new) = match admit(tx, joining)? {
        Ok(admitted) => admitted,
        Err(refused) => return Ok(refused),
    };
    if new {
        tx.execute(
            "INSERT INTO farm (id, n, made_at) VALUES (?1, 0, ?2)",
            params![farm.bytes(), joining.now],
        )?;
    }
    tx.execute(
        "UPDATE invite SET used_at = ?2 WHERE code = ?1",
        params![joining.code, joining.now],
    )?;
    tx.execute(
        "INSERT INTO device (id, farm, name, kind, token, joined_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            joining.device.bytes(),
            farm.bytes(),
            joining.name,
            joining.kind.as_str(),
            joining.token,
            joining.now
        ],
    )?;
    let log = SqliteLog::new(tx, farm)?;
    let whose = Registered {
        device: joining.device,
        vouched: false,
    };
    for actor in &joining.actors {
        log.register(actor, whose, joining.now)?;
    }
    Ok(Joined::In(farm))
}
