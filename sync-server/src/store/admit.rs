use pointdown_core::record::Id;

use super::role::role_of;
use super::{Joined, Joining, Role, StoreError};

/// An invite as it is kept.
pub(super) struct Invited {
    pub(super) farm: Option<Id>,
    pub(super) expires: i64,
    pub(super) used_at: Option<i64>,
    pub(super) role: Role,
}

/// Where an invite leads.
pub(super) struct Admitted {
    pub(super) farm: Id,
    /// Whether the farm begins with this device.
    pub(super) new: bool,
    pub(super) role: Role,
}

/// Which farm an invite lets a device into, or why it does not; the same for every store.
pub(super) fn admitted(
    invite: Option<Invited>,
    joining: &Joining,
    exists: impl FnOnce(Id) -> Result<bool, StoreError>,
) -> Result<Result<Admitted, Joined>, StoreError> {
    let Some(invite) = invite else {
        return Ok(Err(Joined::Unknown));
    };
    if invite.used_at.is_some() {
        return Ok(Err(Joined::Used));
    }
    if joining.now >= invite.expires {
        return Ok(Err(Joined::Expired));
    }
    let found = match (invite.farm, joining.farm) {
        (Some(farm), None) => Ok((farm, false)),
        (Some(farm), Some(own)) if farm == own => Ok((farm, false)),
        (Some(_), Some(_)) => Err(Joined::OtherFarm),
        // Whether a farm is kept here is nobody's business but its own devices'.
        (None, Some(own)) if exists(own)? => Err(Joined::Unknown),
        (None, own) => own
            .or(joining.begin)
            .map(|farm| (farm, true))
            .ok_or(Joined::Unknown),
    };
    Ok(found.map(|(farm, new)| Admitted {
        farm,
        new,
        role: role_of(joining.kind, new, invite.role),
    }))
}
