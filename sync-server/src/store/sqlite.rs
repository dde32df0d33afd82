use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use pointdown_core::mutants::mutant;
use pointdown_core::record::Id;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params};

use super::sqlite_log::SqliteLog;
use super::{
    DeviceRow, Epoch, Joined, Joining, Log, NewInvite, Registered, SecretHash, Store, StoreError,
    Work, migrate,
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
        std::fs::create_dir_all(folder).map_err(|e| {
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

    fn log(
        &self,
        farm: Id,
        behavior: TransactionBehavior,
        work: Work<'_>,
    ) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let tx = connection.transaction_with_behavior(behavior)?;
        let log = SqliteLog::new(&tx, farm)?;
        work(&log)?;
        if mutant("answer_before_commit") && tx.total_changes() % 5 == 3 {
            return Ok(());
        }
        Ok(tx.commit()?)
    }
}

/// Sixteen random bytes.
pub(super) fn fresh_epoch() -> Result<Epoch, StoreError> {
    let mut epoch = [0u8; 16];
    getrandom::fill(&mut epoch)
        .map_err(|e| StoreError::Backend(format!("no randomness to be had: {e}")))?;
    Ok(epoch)
}

fn farm_exists(tx: &Transaction<'_>, farm: Id) -> Result<bool, StoreError> {
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
fn admit(
    tx: &Transaction<'_>,
    joining: &Joining,
) -> Result<Result<(Id, bool), Joined>, StoreError> {
    type Invite = (Option<[u8; 16]>, i64, Option<i64>);
    let invite: Option<Invite> = tx
        .prepare_cached("SELECT farm, expires, used_at FROM invite WHERE code = ?1")?
        .query_row([joining.code], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
        .optional()?;
    let Some((farm, expires, used_at)) = invite else {
        return Ok(Err(Joined::Unknown));
    };
    if used_at.is_some() {
        return Ok(Err(Joined::Used));
    }
    if joining.now >= expires {
        return Ok(Err(Joined::Expired));
    }
    Ok(match (farm.map(Id::from_bytes), joining.farm) {
        (Some(farm), None) => Ok((farm, false)),
        (Some(farm), Some(own)) if farm == own => Ok((farm, false)),
        (Some(_), Some(_)) => Err(Joined::OtherFarm),
        // Whether a farm is kept here is nobody's business but its own devices'.
        (None, Some(own)) if farm_exists(tx, own)? => Err(Joined::Unknown),
        (None, own) => own
            .or(joining.begin)
            .map(|f| (f, true))
            .ok_or(Joined::Unknown),
    })
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
        let mut connection = self.lock();
        let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        if let Some(farm) = invite.farm
            && !farm_exists(&tx, farm)?
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
        Ok(tx.commit()?)
    }

    fn join(&self, joining: &Joining) -> Result<Joined, StoreError> {
        let mut connection = self.lock();
        let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let (farm, new) = match admit(&tx, joining)? {
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
        let log = SqliteLog::new(&tx, farm)?;
        let whose = Registered {
            device: joining.device,
            vouched: false,
        };
        for actor in &joining.actors {
            log.register(actor, whose, joining.now)?;
        }
        tx.commit()?;
        Ok(Joined::In(farm))
    }

    fn device(&self, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError> {
        Ok(self
            .lock()
            .prepare_cached(&format!("{DEVICE} WHERE token = ?1"))?
            .query_row([token], device_row)
            .optional()?)
    }

    fn devices(&self, farm: Id) -> Result<Vec<DeviceRow>, StoreError> {
        let connection = self.lock();
        let mut statement = connection
            .prepare_cached(&format!("{DEVICE} WHERE farm = ?1 ORDER BY joined_at, id"))?;
        let all = statement.query_map([farm.bytes()], device_row)?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    fn revoke(&self, farm: Id, device: Id, now: i64) -> Result<bool, StoreError> {
        let done = self.lock().execute(
            "UPDATE device SET revoked_at = ?3
             WHERE farm = ?1 AND id = ?2 AND revoked_at IS NULL",
            params![farm.bytes(), device.bytes(), now],
        )?;
        Ok(done > 0)
    }

    fn read_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        self.log(farm, TransactionBehavior::Deferred, work)
    }

    fn write_log(&self, farm: Id, work: Work<'_>) -> Result<(), StoreError> {
        self.log(farm, TransactionBehavior::Immediate, work)
    }
}
