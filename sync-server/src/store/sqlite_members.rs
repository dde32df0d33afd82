//! Who belongs to a farm, inside an open SQLite transaction.

use pointdown_core::record::Id;
use rusqlite::{Connection, OptionalExtension, Row, params};

use super::admit::{Admitted, Invited, admitted};
use super::role::{Deed, judge};
use super::sqlite_log::SqliteLog;
use super::{
    Changed, DeviceRow, Event, Joined, Joining, Log, NewInvite, Noted, Registered, Role,
    SecretHash, StoreError,
};

const DEVICE: &str = "SELECT id, farm, name, kind, role, token, next_token, joined_at, heard_at, \
                      revoked_at FROM device";

fn device_row(row: &Row<'_>) -> rusqlite::Result<(DeviceRow, String)> {
    let device = DeviceRow {
        id: Id::from_bytes(row.get(0)?),
        farm: Id::from_bytes(row.get(1)?),
        name: row.get(2)?,
        kind: row.get(3)?,
        role: Role::Reader,
        token: row.get(5)?,
        next_token: row.get(6)?,
        joined_at: row.get(7)?,
        heard_at: row.get(8)?,
        revoked_at: row.get(9)?,
    };
    Ok((device, row.get(4)?))
}

fn with_role((device, role): (DeviceRow, String)) -> Result<DeviceRow, StoreError> {
    let role = role.parse().map_err(StoreError::Damaged)?;
    Ok(DeviceRow { role, ..device })
}

fn farm_exists(tx: &Connection, farm: Id) -> Result<bool, StoreError> {
    Ok(tx
        .prepare_cached("SELECT 1 FROM farm WHERE id = ?1")?
        .exists([farm.bytes()])?)
}

/// Which farm an invite lets this device into, or why it does not.
fn admit(tx: &Connection, joining: &Joining) -> Result<Result<Admitted, Joined>, StoreError> {
    type Invite = (Option<[u8; 16]>, i64, Option<i64>, String);
    let invite: Option<Invite> = tx
        .prepare_cached("SELECT farm, expires, used_at, role FROM invite WHERE code = ?1")?
        .query_row([joining.code], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
        })
        .optional()?;
    let invite = invite
        .map(|(farm, expires, used_at, role)| {
            Ok::<_, StoreError>(Invited {
                farm: farm.map(Id::from_bytes),
                expires,
                used_at,
                role: role.parse().map_err(StoreError::Damaged)?,
            })
        })
        .transpose()?;
    admitted(invite, joining, |farm| farm_exists(tx, farm))
}

/// What goes into the audit log.
struct Note {
    farm: Id,
    at: i64,
    event: Event,
    by: Option<Id>,
    device: Option<Id>,
    role: Option<Role>,
}

fn note(tx: &Connection, note: &Note) -> Result<(), StoreError> {
    tx.prepare_cached(
        "INSERT INTO audit (farm, n, at, event, by, device, role)
         SELECT ?1, coalesce(max(n), 0) + 1, ?2, ?3, ?4, ?5, ?6 FROM audit WHERE farm = ?1",
    )?
    .execute(params![
        note.farm.bytes(),
        note.at,
        note.event.as_str(),
        note.by.as_ref().map(Id::bytes),
        note.device.as_ref().map(Id::bytes),
        note.role.map(Role::as_str),
    ])?;
    Ok(())
}

pub(super) fn add_invite(tx: &Connection, invite: &NewInvite) -> Result<(), StoreError> {
    if let Some(farm) = invite.farm {
        if !farm_exists(tx, farm)? {
            return Err(StoreError::NoSuchFarm);
        }
        let (at, by) = (invite.made_at, invite.by);
        let (event, role) = (Event::Invited, Some(invite.role));
        let device = None;
        note(
            tx,
            &Note {
                farm,
                at,
                event,
                by,
                device,
                role,
            },
        )?;
    }
    tx.execute(
        "INSERT INTO invite (code, farm, made_at, expires, role, made_by)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![
            invite.code,
            invite.farm.as_ref().map(Id::bytes),
            invite.made_at,
            invite.expires,
            invite.role.as_str(),
            invite.by.as_ref().map(Id::bytes),
        ],
    )?;
    Ok(())
}

pub(super) fn join(tx: &Connection, joining: &Joining) -> Result<Joined, StoreError> {
    let Admitted { farm, new, role } = match admit(tx, joining)? {
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
    let by: Option<[u8; 16]> = tx.query_row(
        "SELECT made_by FROM invite WHERE code = ?1",
        [joining.code],
        |row| row.get(0),
    )?;
    tx.execute(
        "INSERT INTO device (id, farm, name, kind, role, token, joined_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            joining.device.bytes(),
            farm.bytes(),
            joining.name,
            joining.kind.as_str(),
            role.as_str(),
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
    let joined = Note {
        farm,
        at: joining.now,
        event: Event::Joined,
        by: by.map(Id::from_bytes),
        device: Some(joining.device),
        role: Some(role),
    };
    note(tx, &joined)?;
    Ok(Joined::In(farm))
}

pub(super) fn device(tx: &Connection, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError> {
    tx.prepare_cached(&format!("{DEVICE} WHERE token = ?1 OR next_token = ?1"))?
        .query_row([token], device_row)
        .optional()?
        .map(with_role)
        .transpose()
}

pub(super) fn devices(tx: &Connection, farm: Id) -> Result<Vec<DeviceRow>, StoreError> {
    tx.prepare_cached(&format!("{DEVICE} WHERE farm = ?1 ORDER BY joined_at, id"))?
        .query_map([farm.bytes()], device_row)?
        .map(|row| with_role(row?))
        .collect()
}

pub(super) fn renew_token(
    tx: &Connection,
    device: Id,
    next: &SecretHash,
    now: i64,
) -> Result<(), StoreError> {
    tx.execute(
        "UPDATE device SET next_token = ?2 WHERE id = ?1",
        params![device.bytes(), next],
    )?;
    let farm: Option<[u8; 16]> = tx
        .query_row(
            "SELECT farm FROM device WHERE id = ?1",
            [device.bytes()],
            |row| row.get(0),
        )
        .optional()?;
    let Some(farm) = farm else {
        return Ok(());
    };
    let renewed = Note {
        farm: Id::from_bytes(farm),
        at: now,
        event: Event::Token,
        by: Some(device),
        device: Some(device),
        role: None,
    };
    note(tx, &renewed)
}

pub(super) fn settle_token(tx: &Connection, next: &SecretHash) -> Result<(), StoreError> {
    tx.execute(
        "UPDATE device SET token = next_token, next_token = NULL WHERE next_token = ?1",
        [next],
    )?;
    Ok(())
}

pub(super) fn change(
    tx: &Connection,
    (farm, device): (Id, Id),
    deed: Deed,
    by: Option<Id>,
    now: i64,
) -> Result<Changed, StoreError> {
    let judged = judge(&devices(tx, farm)?, device, deed, by);
    if judged != Changed::Done {
        return Ok(judged);
    }
    let (event, role) = match deed {
        Deed::ShutOut => {
            let sql = "UPDATE device SET revoked_at = ?2 WHERE id = ?1";
            tx.execute(sql, params![device.bytes(), now])?;
            (Event::Revoked, None)
        }
        Deed::Give(role) => {
            let sql = "UPDATE device SET role = ?2 WHERE id = ?1";
            tx.execute(sql, params![device.bytes(), role.as_str()])?;
            (Event::Role, Some(role))
        }
    };
    let device = Some(device);
    let at = now;
    note(
        tx,
        &Note {
            farm,
            at,
            event,
            by,
            device,
            role,
        },
    )?;
    Ok(Changed::Done)
}

pub(super) fn audit(
    tx: &Connection,
    farm: Id,
    before: Option<u64>,
    most: u32,
) -> Result<Vec<Noted>, StoreError> {
    let before = before.map_or(i64::MAX, |n| i64::try_from(n).unwrap_or(i64::MAX));
    let mut statement = tx.prepare_cached(
        "SELECT n, at, event, by, device, role FROM audit
         WHERE farm = ?1 AND n < ?2 ORDER BY n DESC LIMIT ?3",
    )?;
    let rows = statement.query_map(params![farm.bytes(), before, most], |row| {
        Ok(Noted {
            n: row.get::<_, i64>(0)? as u64,
            at: row.get(1)?,
            event: row.get(2)?,
            by: row.get::<_, Option<[u8; 16]>>(3)?.map(Id::from_bytes),
            device: row.get::<_, Option<[u8; 16]>>(4)?.map(Id::from_bytes),
            role: row.get(5)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}
