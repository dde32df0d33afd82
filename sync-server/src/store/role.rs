use std::str::FromStr;

use pointdown_core::record::Id;
use serde::{Deserialize, Serialize};

use super::{DeviceKind, DeviceRow};

/// What a device may do in its farm.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Takes what the farm logged; what it logs itself is not taken.
    Reader,
    /// Logs and syncs.
    Helper,
    /// Also invites, shuts out, gives roles and reads the audit log.
    Owner,
}

impl Role {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            Role::Reader => "reader",
            Role::Helper => "helper",
            Role::Owner => "owner",
        }
    }
}

impl FromStr for Role {
    type Err = String;

    fn from_str(text: &str) -> Result<Role, String> {
        [Role::Reader, Role::Helper, Role::Owner]
            .into_iter()
            .find(|role| role.as_str() == text)
            .ok_or_else(|| {
                format!("role: {text:?} is not allowed; allowed are owner, helper, reader")
            })
    }
}

/// How an attempt to shut a device out or to give it a role ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Changed {
    /// It is done, and stands in the audit log.
    Done,
    /// The farm has no such device, or it was shut out before.
    NoDevice,
    /// Nobody would be left who may invite and shut out. Only whoever runs the server can do this.
    LastOwner,
}

/// What is done to a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Deed {
    ShutOut,
    Give(Role),
}

/// Whether this may be done to a device, given all devices of its farm; the same for every store.
pub(super) fn judge(all: &[DeviceRow], device: Id, deed: Deed, by: Option<Id>) -> Changed {
    let mut here = all.iter().filter(|d| d.revoked_at.is_none());
    let Some(row) = here.clone().find(|d| d.id == device) else {
        return Changed::NoDevice;
    };
    // A screen hangs where anyone can reach it and stays what it is.
    if matches!(deed, Deed::Give(_)) && row.kind == DeviceKind::Screen.as_str() {
        return Changed::NoDevice;
    }
    let stays_owner = deed == Deed::Give(Role::Owner);
    let others = here.any(|d| d.role == Role::Owner && d.id != device);
    if by.is_some() && row.role == Role::Owner && !stays_owner && !others {
        return Changed::LastOwner;
    }
    Changed::Done
}

/// The role of a device that joins, where its invite names one.
pub(super) fn role_of(kind: DeviceKind, begins_farm: bool, invited_as: Role) -> Role {
    match kind {
        DeviceKind::Screen => Role::Reader,
        DeviceKind::Phone if begins_farm => Role::Owner,
        DeviceKind::Phone => invited_as,
    }
}

/// What happened to those who belong to a farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// An invite was made.
    Invited,
    /// A device joined.
    Joined,
    /// A device was shut out.
    Revoked,
    /// A device has another role.
    Role,
    /// A device asked for a fresh token.
    Token,
}

impl Event {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            Event::Invited => "invited",
            Event::Joined => "joined",
            Event::Revoked => "revoked",
            Event::Role => "role",
            Event::Token => "token",
        }
    }
}

/// A line of a farm's audit log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Noted {
    /// Its number: from 1, without a gap.
    pub n: u64,
    /// When, milliseconds since 1970 UTC.
    pub at: i64,
    /// What happened, as [`Event::as_str`] says it.
    pub event: String,
    /// The device that did it; nothing for whoever runs the server.
    pub by: Option<Id>,
    /// The device that it was done to.
    pub device: Option<Id>,
    /// The role that was given.
    pub role: Option<String>,
}
