use std::path::{Path, PathBuf};

use pointdown_core::farm::{Backup, Farm};
use pointdown_core::record::Instant;
use serde_json::json;

use crate::base::Base;
use crate::fail::Failure;
use crate::tables::Screen;

#[derive(Debug, clap::Args)]
pub(crate) struct Restore {
    /// The backup, or a plain copy of a database that was closed.
    file: PathBuf,
    /// Only look it over and say what is in it; nothing is written.
    #[arg(long)]
    check: bool,
}

pub(crate) fn back_up(base: &Base, screen: &mut Screen<'_>, file: &Path) -> Result<(), Failure> {
    let farm = base.open()?;
    let made = farm.back_up(file)?;
    if screen.json {
        return Ok(screen.value(&told(file, &made))?);
    }
    screen.line(format!(
        "Wrote a copy to {} and read it back: {} records, {} bytes, whole.",
        file.display(),
        made.records,
        made.bytes
    ))?;
    Ok(screen.line(
        "It holds everything, also this device's key to a server: keep it where strangers do not\n\
         reach. On a new phone: pointdown restore FILE",
    )?)
}

pub(crate) fn restore(base: &Base, screen: &mut Screen<'_>, args: &Restore) -> Result<(), Failure> {
    let found = if args.check {
        Farm::verify_backup(&args.file)?
    } else {
        base.make_folder()?;
        Farm::restore(&args.file, &base.path)?
    };
    if screen.json {
        return Ok(screen.value(&told(&args.file, &found))?);
    }
    let name = found.name.as_deref().unwrap_or("A farm without a name");
    let made = match found.made {
        Some(ms) => format!("made {}", Instant::from_ms(ms)),
        None => "a plain copy, without a seal".into(),
    };
    screen.line(format!("{name}, {} records, {made}: whole.", found.records))?;
    if args.check {
        return Ok(());
    }
    screen.line(format!("The book is {}.", base.path.display()))?;
    Ok(screen.line(
        "The old phone may go on beside this one. Whoever writes here now: pointdown write-as\n\
         PERSON --device NAME",
    )?)
}

fn told(file: &Path, backup: &Backup) -> serde_json::Value {
    let mut all = json!(backup);
    all["file"] = file.display().to_string().into();
    all
}
