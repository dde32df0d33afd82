//! Who belongs to a farm, seen from the server's own machine.

use std::io::{self, Write as _};

use pointdown_core::farm::{Env as _, System};
use pointdown_core::record::{Id, Instant};
use pointdown_core::sync::InviteLink;
use pointdown_server::store::{Changed, Role};
use pointdown_server::{Invitation, make_invite, own_pin};

use crate::{Data, Failure};

/// Prints a code, or the whole link where the address is given.
pub(crate) fn invite(
    data: &Data,
    invitation: &Invitation,
    url: Option<String>,
) -> Result<(), Failure> {
    let store = data.open()?;
    let invite = make_invite(&*store, &System, invitation)?;
    let mut out = io::stdout().lock();
    match url {
        None => writeln!(out, "{}", invite.code)?,
        Some(url) => {
            let url = url.trim_end_matches('/').to_string();
            let own = own_pin(&data.data.join("tls"))?;
            let link = InviteLink {
                pin: own.filter(|_| url.starts_with("https://")),
                code: invite.code,
                url,
            };
            writeln!(out, "{link}")?;
        }
    }
    let until = Instant::from_ms(invite.expires).utc().to_rfc3339();
    writeln!(io::stderr(), "good for one device, until {until}")?;
    Ok(())
}

pub(crate) fn devices(data: &Data) -> Result<(), Failure> {
    let store = data.open()?;
    let mut out = io::stdout().lock();
    let when = |ms: Option<i64>| ms.map(|ms| Instant::from_ms(ms).utc().to_rfc3339());
    for farm in store.farms()? {
        writeln!(out, "farm {farm}")?;
        for device in store.devices(farm)? {
            let state = match (when(device.revoked_at), when(device.heard_at)) {
                (Some(at), _) => format!("shut out {at}"),
                (None, Some(at)) => format!("last synced {at}"),
                (None, None) => "never synced".into(),
            };
            writeln!(
                out,
                "  {}  {:6}  {:6}  {:?}  {state}",
                device.id,
                device.kind,
                device.role.as_str(),
                device.name
            )?;
        }
    }
    Ok(())
}

pub(crate) fn revoke(data: &Data, device: Id) -> Result<(), Failure> {
    let store = data.open()?;
    let now = System.now().ms();
    for farm in store.farms()? {
        if store.revoke(farm, device, None, now)? == Changed::Done {
            store.tell(farm);
            writeln!(io::stdout(), "shut out")?;
            return Ok(());
        }
    }
    Err("no such device, or it was shut out before".into())
}

pub(crate) fn change_role(data: &Data, device: Id, role: Role) -> Result<(), Failure> {
    let store = data.open()?;
    let now = System.now().ms();
    for farm in store.farms()? {
        if store.change_role(farm, device, role, None, now)? == Changed::Done {
            store.tell(farm);
            writeln!(io::stdout(), "its role is {} now", role.as_str())?;
            return Ok(());
        }
    }
    Err("no such phone, or it was shut out before".into())
}

pub(crate) fn audit(data: &Data, farm: Option<Id>) -> Result<(), Failure> {
    let store = data.open()?;
    let mut out = io::stdout().lock();
    let farms = farm.map_or_else(|| store.farms(), |farm| Ok(vec![farm]))?;
    for farm in farms {
        writeln!(out, "farm {farm}")?;
        let devices = store.devices(farm)?;
        let named = |id: Option<Id>| {
            let row = devices.iter().find(|d| Some(d.id) == id);
            row.map(|d| format!("{:?}", d.name))
        };
        for line in store.audit(farm, None, u32::MAX)? {
            let at = Instant::from_ms(line.at).utc().to_rfc3339();
            let mut words = vec![format!("  {at}  {:8}", line.event)];
            words.extend(named(line.device));
            words.extend(line.role.map(|role| format!("as {role}")));
            let by = named(line.by).unwrap_or_else(|| "whoever runs the server".into());
            words.push(format!("by {by}"));
            writeln!(out, "{}", words.join(" "))?;
        }
    }
    Ok(())
}
