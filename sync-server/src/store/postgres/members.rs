//! Who belongs to a farm, inside an open transaction.

use pointdown_core::record::Id;
use tokio_postgres::Row;

use super::link::Link;
use super::{bytes, id, natural};
use crate::store::admit::{Admitted, Invited, admitted};
use crate::store::role::{Deed, judge};
use crate::store::{
    Changed, DeviceRow, Event, Joined, Joining, NewInvite, Noted, Role, SecretHash, StoreError,
};

const BY_TOKEN: &str = "SELECT id, farm, name, kind, token, joined_at, heard_at, revoked_at, role, \
     next_token FROM pointdown.device WHERE token = $1 OR next_token = $1";

const OF_FARM: &str = "SELECT id, farm, name, kind, token, joined_at, heard_at, revoked_at, role, \
     next_token FROM pointdown.device WHERE farm = $1 ORDER BY joined_at, id";

fn device_row(row: &Row) -> Result<DeviceRow, StoreError> {
    Ok(DeviceRow {
        id: id(row, 0)?,
        farm: id(row, 1)?,
        name: row.try_get(2)?,
        kind: row.try_get(3)?,
        role: role(row, 8)?,
        token: bytes(row, 4)?,
        next_token: maybe(row, 9)?,
        joined_at: row.try_get(5)?,
        heard_at: row.try_get(6)?,
        revoked_at: row.try_get(7)?,
    })
}

pub(super) fn role(row: &Row, column: usize) -> Result<Role, StoreError> {
    row.try_get::<_, &str>(column)?
        .parse()
        .map_err(StoreError::Damaged)
}

/// Some bytes, or nothing.
fn maybe<const N: usize>(row: &Row, column: usize) -> Result<Option<[u8; N]>, StoreError> {
    let found: Option<&[u8]> = row.try_get(column)?;
    found.map(|_| bytes(row, column)).transpose()
}

fn maybe_id(row: &Row, column: usize) -> Result<Option<Id>, StoreError> {
    Ok(maybe(row, column)?.map(Id::from_bytes))
}

fn exists(link: &Link, farm: Id) -> Result<bool, StoreError> {
    let found = link.maybe(
        "SELECT 1 FROM pointdown.farm WHERE id = $1",
        &[&farm.bytes().as_slice()],
    )?;
    Ok(found.is_some())
}

/// Nobody else changes who belongs to this farm until the transaction ends: two owners must not
/// shut each other out at one moment, and lines of the audit log come one after the other.
fn lock(link: &Link, farm: Id) -> Result<(), StoreError> {
    link.maybe(
        "SELECT n FROM pointdown.farm WHERE id = $1 FOR NO KEY UPDATE",
        &[&farm.bytes().as_slice()],
    )?;
    Ok(())
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

/// Writes a line; the farm is locked.
fn note(link: &Link, note: &Note) -> Result<(), StoreError> {
    link.execute(
        "INSERT INTO pointdown.audit (farm, n, at, event, by, device, role)
         SELECT $1::bytea, coalesce(max(n), 0) + 1, $2::bigint, $3::text, $4::bytea, $5::bytea,
             $6::text
         FROM pointdown.audit WHERE farm = $1",
        &[
            &note.farm.bytes().as_slice(),
            &note.at,
            &note.event.as_str(),
            &note.by.as_ref().map(|by| by.bytes().as_slice()),
            &note.device.as_ref().map(|d| d.bytes().as_slice()),
            &note.role.map(Role::as_str),
        ],
    )?;
    Ok(())
}

pub(super) fn add_invite(link: &Link, invite: &NewInvite) -> Result<(), StoreError> {
    if let Some(farm) = invite.farm {
        if !exists(link, farm)? {
            return Err(StoreError::NoSuchFarm);
        }
        lock(link, farm)?;
        let invited = Note {
            farm,
            at: invite.made_at,
            event: Event::Invited,
            by: invite.by,
            device: None,
            role: Some(invite.role),
        };
        note(link, &invited)?;
    }
    link.execute(
        "INSERT INTO pointdown.invite (code, farm, made_at, expires, role, made_by)
         VALUES ($1, $2, $3, $4, $5, $6)",
        &[
            &invite.code.as_slice(),
            &invite.farm.as_ref().map(|farm| farm.bytes().as_slice()),
            &invite.made_at,
            &invite.expires,
            &invite.role.as_str(),
            &invite.by.as_ref().map(|by| by.bytes().as_slice()),
        ],
    )?;
    Ok(())
}

pub(super) fn join(link: &Link, joining: &Joining) -> Result<Joined, StoreError> {
    let code = joining.code.as_slice();
    // Whoever comes second waits here, and then sees that the invite was used.
    let found = link.maybe(
        "SELECT farm, expires, used_at, role, made_by FROM pointdown.invite WHERE code = $1
         FOR UPDATE",
        &[&code],
    )?;
    let mut by = None;
    let invite = found
        .map(|row| {
            by = maybe_id(&row, 4)?;
            Ok::<_, StoreError>(Invited {
                farm: maybe_id(&row, 0)?,
                expires: row.try_get(1)?,
                used_at: row.try_get(2)?,
                role: role(&row, 3)?,
            })
        })
        .transpose()?;
    let Admitted { farm, new, role } = match admitted(invite, joining, |farm| exists(link, farm))? {
        Ok(admitted) => admitted,
        Err(refused) => return Ok(refused),
    };
    let (key, now) = (farm.bytes().as_slice(), joining.now);
    if new {
        let made = link.execute(
            "INSERT INTO pointdown.farm (id, n, made_at) VALUES ($1, 0, $2)
             ON CONFLICT DO NOTHING",
            &[&key, &now],
        )?;
        // Someone else brought the same farm at the same moment.
        if made == 0 {
            return Ok(Joined::Unknown);
        }
    }
    lock(link, farm)?;
    link.execute(
        "UPDATE pointdown.invite SET used_at = $2 WHERE code = $1",
        &[&code, &now],
    )?;
    let device = joining.device.bytes().as_slice();
    link.execute(
        "INSERT INTO pointdown.device (id, farm, name, kind, role, token, joined_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
        &[
            &device,
            &key,
            &joining.name,
            &joining.kind.as_str(),
            &role.as_str(),
            &joining.token.as_slice(),
            &now,
        ],
    )?;
    let actors: Vec<&[u8]> = joining.actors.iter().map(|a| a.0.as_slice()).collect();
    link.execute(
        "INSERT INTO pointdown.actor AS a (farm, actor, device, vouched, at)
         SELECT DISTINCT $1::bytea, actor, $2::bytea, FALSE, $3::bigint
         FROM unnest($4::bytea[]) AS actor
         ON CONFLICT (farm, actor) DO UPDATE
         SET device = excluded.device, vouched = FALSE, at = excluded.at WHERE a.vouched",
        &[&key, &device, &now, &actors],
    )?;
    let joined = Note {
        farm,
        at: now,
        event: Event::Joined,
        by,
        device: Some(joining.device),
        role: Some(role),
    };
    note(link, &joined)?;
    Ok(Joined::In(farm))
}

pub(super) fn device(link: &Link, token: &SecretHash) -> Result<Option<DeviceRow>, StoreError> {
    let found = link.maybe(BY_TOKEN, &[&token.as_slice()])?;
    found.as_ref().map(device_row).transpose()
}

pub(super) fn devices(link: &Link, farm: Id) -> Result<Vec<DeviceRow>, StoreError> {
    let all = link.query(OF_FARM, &[&farm.bytes().as_slice()])?;
    all.iter().map(device_row).collect()
}

pub(super) fn renew_token(
    link: &Link,
    device: Id,
    next: &SecretHash,
    now: i64,
) -> Result<(), StoreError> {
    let key = device.bytes().as_slice();
    let found = link.maybe("SELECT farm FROM pointdown.device WHERE id = $1", &[&key])?;
    let Some(row) = found else {
        return Ok(());
    };
    let farm = id(&row, 0)?;
    // The farm first, as everyone does, so that nobody waits in a circle.
    lock(link, farm)?;
    link.execute(
        "UPDATE pointdown.device SET next_token = $2 WHERE id = $1",
        &[&key, &next.as_slice()],
    )?;
    let renewed = Note {
        farm,
        at: now,
        event: Event::Token,
        by: Some(device),
        device: Some(device),
        role: None,
    };
    note(link, &renewed)
}

pub(super) fn settle_token(link: &Link, next: &SecretHash) -> Result<(), StoreError> {
    link.execute(
        "UPDATE pointdown.device SET token = next_token, next_token = NULL WHERE next_token = $1",
        &[&next.as_slice()],
    )?;
    Ok(())
}

pub(super) fn change(
    link: &Link,
    (farm, device): (Id, Id),
    deed: Deed,
    by: Option<Id>,
    at: i64,
) -> Result<Changed, StoreError> {
    lock(link, farm)?;
    let judged = judge(&devices(link, farm)?, device, deed, by);
    if judged != Changed::Done {
        return Ok(judged);
    }
    let key = device.bytes().as_slice();
    let (event, role) = match deed {
        Deed::ShutOut => {
            link.execute(
                "UPDATE pointdown.device SET revoked_at = $2 WHERE id = $1",
                &[&key, &at],
            )?;
            (Event::Revoked, None)
        }
        Deed::Give(role) => {
            link.execute(
                "UPDATE pointdown.device SET role = $2 WHERE id = $1",
                &[&key, &role.as_str()],
            )?;
            (Event::Role, Some(role))
        }
    };
    let device = Some(device);
    let done = Note {
        farm,
        at,
        event,
        by,
        device,
        role,
    };
    note(link, &done)?;
    Ok(Changed::Done)
}

pub(super) fn audit(
    link: &Link,
    farm: Id,
    before: Option<u64>,
    most: u32,
) -> Result<Vec<Noted>, StoreError> {
    let before = before.map_or(i64::MAX, |n| i64::try_from(n).unwrap_or(i64::MAX));
    let all = link.query(
        "SELECT n, at, event, by, device, role FROM pointdown.audit
         WHERE farm = $1 AND n < $2 ORDER BY n DESC LIMIT $3",
        &[&farm.bytes().as_slice(), &before, &i64::from(most)],
    )?;
    all.iter()
        .map(|row| {
            Ok(Noted {
                n: natural(row, 0)?,
                at: row.try_get(1)?,
                event: row.try_get(2)?,
                by: maybe_id(row, 3)?,
                device: maybe_id(row, 4)?,
                role: row.try_get(5)?,
            })
        })
        .collect()
}
