use pointdown_core::record::Id;

use super::{Joined, Joining, StoreError};

/// An invite as it is kept.
pub(super) struct Invited {
    pub(super) farm: Option<Id>,
    pub(super) expires: i64,
    pub(super) used_at: Option<i64>,
}

/// Which farm an invite lets a device into and whether that farm is new, or why it does not.
pub(super) fn admitted(
    invite: Option<Invited>,
    joining: &Joining,
    exists: impl FnOnce(Id) -> Result<bool, StoreError>,
) -> Result<Result<(Id, bool), Joined>, StoreError> {
    let Some(invite) = invite else {
        return Ok(Err(Joined::Unknown));
    };
    if invite.used_at.is_some() {
        return Ok(Err(Joined::Used));
    }
    if joining.now >= invite.expires {
        return Ok(Err(Joined::Expired));
    }
    Ok(match (invite.farm, joining.farm) {
        (Some(farm), None) => Ok((farm, false)),
        (Some(farm), Some(own)) if farm == own => Ok((farm, false)),
        (Some(_), Some(_)) => Err(Joined::OtherFarm),
        // Whether a farm is kept here is nobody's business but its own devices'.
        (None, Some(own)) if exists(own)? => Err(Joined::Unknown),
        (None, own) => own
            .or(joining.begin)
            .map(|farm| (farm, true))
            .ok_or(Joined::Unknown),
    })
}
