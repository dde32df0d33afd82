use pointdown_core::farm::{ErrorKind, Farm, Join, Status};
use pointdown_core::record::Instant;
use serde_json::json;

use super::setup::{Newcomer, newcomer, settle, who};
use crate::base::{Base, env};
use crate::fail::Failure;
use crate::moments::Calendar;
use crate::tables::Screen;

pub(crate) fn join(
    base: &Base,
    screen: &mut Screen<'_>,
    url: &str,
    code: &str,
    names: Newcomer,
) -> Result<(), Failure> {
    // What follows # in a link is a secret and not shown.
    let server = url.split('#').next().unwrap_or_default();
    let server = server.trim_end_matches('/');
    let farm = joined(base, url, code, &names).map_err(|e| go_on(base, server, e))?;
    if farm.person().is_none() && names.0.is_some() {
        // An earlier joining broke off before anyone was named.
        let (person, device) = newcomer(&names)?;
        settle(&farm, person, device)?;
        farm.sync()?;
    }
    if screen.json {
        let mut all = who(base, &farm)?;
        all["status"] = json!(farm.status()?);
        return Ok(screen.value(&all)?);
    }
    let name = farm.name()?.unwrap_or_else(|| "the farm".into());
    screen.line(format!("Joined {server}; this device keeps {name}."))?;
    print_status(screen, &farm)
}

/// Joins with the farm that is here, or as a new phone.
fn joined(base: &Base, url: &str, code: &str, names: &Newcomer) -> Result<Farm, Failure> {
    let join = |device| Join {
        url,
        invite: code,
        device,
    };
    let Some(farm) = base.open_if_there()? else {
        let (person, device) = newcomer(names)?;
        base.make_folder()?;
        let join = join(device);
        return Ok(Farm::join_new(&base.location(), env(), &join, person)?);
    };
    let all = farm.names()?;
    let kept = farm.device().and_then(|id| all.get(&id));
    let device = match (&names.1, kept) {
        (Some(device), _) | (None, Some(device)) => device.as_str(),
        (None, None) => newcomer(names)?.1,
    };
    farm.join(&join(device))?;
    Ok(farm)
}

/// Where the connection is lost after the invite was taken, the same code works no second time:
/// says how to go on.
fn go_on(base: &Base, url: &str, failure: Failure) -> Failure {
    let Failure::Farm(mut e) = failure else {
        return failure;
    };
    let server = base
        .open_if_there()
        .ok()
        .flatten()
        .and_then(|farm| farm.status().ok()?.server);
    if e.kind == ErrorKind::Network && server.as_deref() == Some(url.trim_end_matches('/')) {
        e.message
            .push_str(". This device has joined already: go on with `pointdown sync`");
    }
    e.into()
}

pub(crate) fn sync(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let done = farm.sync()?;
    let status = farm.status()?;
    if screen.json {
        let mut all = json!(done);
        all["agreed"] = status.agreed.into();
        all["refused"] = json!(status.refused);
        return Ok(screen.value(&all)?);
    }
    screen.line(format!(
        "Sent {}, received {}, {} waiting.",
        changes(done.sent),
        done.received,
        done.waiting
    ))?;
    nobody(screen, &farm)?;
    refused(screen, &status)
}

pub(crate) fn invite(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let link = farm.invite_link()?;
    let (code, server) = (&link.code, &link.url);
    if screen.json {
        let link = link.to_string();
        return Ok(screen.value(&json!({"code": code, "server": server, "link": link}))?);
    }
    screen.line(format!("The invite code, for one device: {code}"))?;
    screen.line(format!("As a link: {link}"))?;
    screen.line("There:")?;
    let at = match link.pin {
        // Only the link says by which key the server is known.
        Some(_) => format!("'{link}'"),
        None => format!("{server} {code}"),
    };
    Ok(screen.line(format!("  pointdown join {at} --person NAME --device NAME"))?)
}

pub(crate) fn status(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let mut all = who(base, &farm)?;
    if screen.json {
        all["records"] = farm.record_count()?.into();
        all["status"] = json!(farm.status()?);
        return Ok(screen.value(&all)?);
    }
    let named = |of: &str| {
        all[of]["name"]
            .as_str()
            .unwrap_or("(no name yet)")
            .to_string()
    };
    screen.line(format!("{}, {}", named("farm"), farm.zone()?))?;
    if farm.person().is_some() {
        let (person, device) = (named("person"), named("device"));
        screen.line(format!("{person} writes here, on {device}."))?;
    }
    nobody(screen, &farm)?;
    screen.line(match farm.record_count()? {
        1 => "1 record.".to_string(),
        n => format!("{n} records."),
    })?;
    screen.line(format!("The book is {}.", base.path.display()))?;
    print_status(screen, &farm)
}

/// What to do where the farm is here and its writer is not.
fn nobody(screen: &mut Screen<'_>, farm: &Farm) -> Result<(), Failure> {
    if farm.person().is_some() {
        return Ok(());
    }
    Ok(screen.line(match farm.newcomer()? {
        Some(new) => format!(
            "{} writes here, on {}, from the next record or exchange on.",
            new.person, new.device
        ),
        None => "Nobody writes here yet: pointdown write-as PERSON --device NAME".into(),
    })?)
}

fn print_status(screen: &mut Screen<'_>, farm: &Farm) -> Result<(), Failure> {
    let status = farm.status()?;
    let Some(server) = &status.server else {
        return Ok(screen.line("No server joined; everything is kept here.")?);
    };
    let calendar = Calendar::of(farm)?;
    screen.line(match status.heard_at {
        Some(ms) => format!(
            "Server {server}, last heard {}.",
            calendar.shown(Instant::from_ms(ms))
        ),
        None => format!("Server {server}, not heard yet."),
    })?;
    screen.line(if status.waiting > 0 {
        format!(
            "{} waiting to be sent; they are safe here until then.",
            changes(status.waiting)
        )
    } else if status.agreed {
        "Everything is sent, and both sides hold the same.".to_string()
    } else {
        "Everything is sent.".to_string()
    })?;
    // Under two seconds is the network's own delay.
    if let Some(ms) = status.offset_ms.filter(|ms| ms.abs() >= 2000) {
        let seconds = ms.abs() / 1000;
        let way = if ms > 0 { "behind" } else { "ahead of" };
        screen.line(format!(
            "This device's clock is {seconds} s {way} the server's."
        ))?;
    }
    refused(screen, &status)
}

fn refused(screen: &mut Screen<'_>, status: &Status) -> Result<(), Failure> {
    for why in &status.refused {
        screen.line(format!("The server did not take: {why}"))?;
    }
    Ok(())
}

fn changes(n: u64) -> String {
    format!("{n} {}", if n == 1 { "change" } else { "changes" })
}
