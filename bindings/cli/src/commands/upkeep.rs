use std::fs::OpenOptions;
use std::io::{ErrorKind as Io, Write};
use std::path::Path;

use pointdown_core::farm::{ErrorKind, Farm, FarmError, HOLDS, Location};
use serde_json::json;

use super::setup::{Newcomer, newcomer, settle, who};
use super::{Base, env, storage};
use crate::fail::{Failure, invalid};
use crate::tables::Screen;

pub(super) fn export(base: &Base, screen: &mut Screen<'_>, file: &Path) -> Result<(), Failure> {
    let farm = base.open()?;
    let bytes = farm.export()?;
    write_new(file, &bytes)?;
    if screen.json {
        let all = json!({"file": file.display().to_string(), "bytes": bytes.len()});
        return Ok(screen.value(&all)?);
    }
    Ok(screen.line(format!(
        "Wrote everything to {} ({} bytes).",
        file.display(),
        bytes.len()
    ))?)
}

/// Writes a file that was not there before; half a file does not stay behind.
fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let name = path.display().to_string();
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map_err(|e| match e.kind() {
            Io::AlreadyExists => invalid("file", &name, "it is there already; choose a new file"),
            Io::NotFound => FarmError::new(
                ErrorKind::NotFound,
                format!("{name} cannot be made: its folder is not there"),
            )
            .into(),
            _ => storage(format!("{name} cannot be written: {e}")),
        })?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    written.map_err(|e| {
        drop(std::fs::remove_file(path));
        let kind = match e.kind() {
            Io::StorageFull => ErrorKind::DiskFull,
            _ => ErrorKind::Storage,
        };
        FarmError::new(kind, format!("{name} cannot be written: {e}")).into()
    })
}

pub(super) fn import(
    base: &Base,
    screen: &mut Screen<'_>,
    file: &Path,
    names: Newcomer,
) -> Result<(), Failure> {
    let bytes = std::fs::read(file).map_err(|e| match e.kind() {
        Io::NotFound => Failure::from(FarmError::new(
            ErrorKind::NotFound,
            format!("there is no file {}", file.display()),
        )),
        _ => storage(format!("{} cannot be read: {e}", file.display())),
    })?;
    let (farm, taken) = match base.open_if_there()? {
        Some(farm) => {
            let taken = farm.import(&bytes)?;
            (farm, taken.changes)
        }
        None => {
            let (person, device) = newcomer(&names)?;
            // Once in memory, so that a file that cannot be taken leaves no database behind.
            let trial = Farm::from_export(&Location::Memory, env(), &bytes)?;
            settle(&trial, person, device)?;
            base.make_folder()?;
            let farm = Farm::make(&base.location(), env(), trial.id())?;
            let taken = farm.import(&bytes)?;
            settle(&farm, person, device)?;
            (farm, taken.changes)
        }
    };
    if screen.json {
        let mut all = who(base, &farm)?;
        all["changes"] = taken.into();
        all["records"] = farm.record_count()?.into();
        return Ok(screen.value(&all)?);
    }
    let name = farm.name()?.unwrap_or_else(|| "The farm".into());
    screen.line(match taken {
        0 => "Nothing new in it.".to_string(),
        1 => "Took 1 change.".to_string(),
        n => format!("Took {n} changes."),
    })?;
    Ok(screen.line(format!("{name} has {} records here.", farm.record_count()?))?)
}

pub(super) fn check(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let found = farm.check()?;
    let strays = farm.strays()?;
    if screen.json {
        let all = json!({
            "records": found.records,
            "checked": HOLDS,
            "wrong": found.wrong,
            "strays": strays.iter().map(|s| json!({"doc": s.doc, "key": s.key, "why": s.why}))
                .collect::<Vec<_>>(),
        });
        screen.value(&all)?;
    } else {
        screen.line(format!("Looked at {} records.", found.records))?;
        for holds in HOLDS {
            screen.line(format!("Checked: {holds}."))?;
        }
        for wrong in &found.wrong {
            screen.line(format!("Wrong: {wrong}"))?;
        }
        for stray in &strays {
            screen.line(format!(
                "Kept, not counted: {} in {}: {}",
                stray.key, stray.doc, stray.why
            ))?;
        }
        if found.wrong.is_empty() {
            screen.line("Everything holds.")?;
        }
    }
    if found.wrong.is_empty() {
        return Ok(());
    }
    Err(FarmError::new(
        ErrorKind::Damaged,
        "something does not hold; `pointdown rebuild` makes the book anew from the changes",
    )
    .into())
}

pub(super) fn rebuild(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    farm.rebuild()?;
    let records = farm.record_count()?;
    if screen.json {
        return Ok(screen.value(&json!({"records": records}))?);
    }
    Ok(screen.line(format!("Made the book anew: {records} records."))?)
}

pub(super) fn back_up(base: &Base, screen: &mut Screen<'_>, file: &Path) -> Result<(), Failure> {
    let farm = base.open()?;
    farm.back_up(file)?;
    if screen.json {
        return Ok(screen.value(&json!({"file": file.display().to_string()}))?);
    }
    Ok(screen.line(format!("Wrote a copy to {}.", file.display()))?)
}
