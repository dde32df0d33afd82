use pointdown_core::farm::{Farm, Join, Status};
use pointdown_core::record::Instant;
use serde_json::json;

use super::setup::{Newcomer, newcomer, who};
use super::{Base, env};
use crate::fail::Failure;
use crate::moments::Calendar;
use crate::tables::Screen;

pub(super) fn join(
    base: &Base,
    screen: &mut Screen<'_>,
    url: &str,
    code: &str,
    names: Newcomer,
) -> Result<(), Failure> {
    let farm = match base.open_if_there()? {
        Some(farm) => {
            let all = farm.names()?;
            let kept = farm.device().and_then(|id| all.get(&id));
            let device = match (&names.1, kept) {
                (Some(device), _) | (None, Some(device)) => device.as_str(),
                (None, None) => newcomer(&names)?.1,
            };
            farm.join(&Join {
                url,
                invite: code,
                device,
            })?;
            farm
        }
        None => {
            let (person, device) = newcomer(&names)?;
            base.make_folder()?;
            let join = Join {
                url,
                invite: code,
                device,
            };
            Farm::join_new(&base.location(), env(), &join, person)?
        }
    };
    if screen.json {
        let mut all = who(base, &farm)?;
        all["status"] = json!(farm.status()?);
        return Ok(screen.value(&all)?);
    }
    let name = farm.name()?.unwrap_or_else(|| "the farm".into());
    screen.line(format!("Joined {url}; this device keeps {name}."))?;
    print_status(screen, &farm)
}

pub(super) fn sync(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
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
    refused(screen, &status)
}

pub(super) fn invite(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let code = farm.invite()?;
    let server = farm.status()?.server.unwrap_or_default();
    if screen.json {
        return Ok(screen.value(&json!({"code": code, "server": server}))?);
    }
    screen.line(format!("The invite code, for one device: {code}"))?;
    screen.line("There:")?;
    Ok(screen.line(format!(
        "  pointdown join {server} {code} --person NAME --device NAME"
    ))?)
}

pub(super) fn status(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let mut all = who(base, &farm)?;
    if screen.json {
        all["records"] = farm.record_count()?.into();
        all["status"] = json!(farm.status()?);
        return Ok(screen.value(&all)?);
    }
    let named = |of: &str| all[of]["name"].as_str().unwrap_or("nobody yet").to_string();
    screen.line(format!("{}, {}", named("farm"), farm.zone()?))?;
    screen.line(format!(
        "{} writes here, on {}. {} records.",
        named("person"),
        named("device"),
        farm.record_count()?
    ))?;
    screen.line(format!("The book is {}.", base.path.display()))?;
    print_status(screen, &farm)
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
