//! Backups, looking everything over, and folding, on the server's own machine.

use std::io::{self, Write as _};
use std::path::Path;

use pointdown_core::farm::{Env as _, System};
use pointdown_server::upkeep::{self, Finding, Verdict};

use crate::{Data, Failure, only_server};

const DAY_MS: i64 = 24 * 60 * 60 * 1000;

fn print(findings: &[Finding]) -> io::Result<()> {
    let mut out = io::stdout().lock();
    for Finding {
        farm,
        what,
        verdict,
    } in findings
    {
        let farm = farm
            .map(|farm| format!("farm {farm}: "))
            .unwrap_or_default();
        writeln!(out, "{}: {farm}{what}", verdict.as_str())?;
    }
    Ok(())
}

/// A database server has tools of its own for this.
fn only_a_folder(data: &Data) -> Result<(), Failure> {
    match data.database() {
        None => Ok(()),
        Some(_) => Err(
            "copy and restore a PostgreSQL database with its own tools (pg_dump, \
                        pg_restore), and say `new-epoch` after restoring"
                .into(),
        ),
    }
}

pub(crate) fn back_up(data: &Data, to: &Path) -> Result<(), Failure> {
    only_a_folder(data)?;
    print(&upkeep::back_up(&data.data, to)?)?;
    writeln!(
        io::stdout(),
        "copied to {}, and the copy is sound",
        to.display()
    )?;
    Ok(())
}

pub(crate) fn restore(data: &Data, from: &Path) -> Result<(), Failure> {
    only_a_folder(data)?;
    // A server that runs on the folder would go on with files that are gone.
    if data.data.exists() {
        drop(only_server(&data.data)?);
    }
    print(&upkeep::restore(from, &data.data)?)?;
    writeln!(
        io::stdout(),
        "restored: each phone will compare everything at its next sync and send what is missing here"
    )?;
    Ok(())
}

pub(crate) fn doctor(data: &Data, mend: bool) -> Result<(), Failure> {
    let findings = upkeep::examine(&*data.open()?, mend)?;
    print(&findings)?;
    let count = |verdict| findings.iter().filter(|f| f.verdict == verdict).count();
    match (count(Verdict::Lost), count(Verdict::Mendable)) {
        (0, 0) => writeln!(io::stdout(), "all is well")?,
        (0, n) => return Err(format!("{n} can be mended; run it again with --mend").into()),
        (n, _) => {
            return Err(format!(
                "{n} cannot be mended here: restore a backup; phones bring what it lacks"
            )
            .into());
        }
    }
    Ok(())
}

pub(crate) fn compact(data: &Data, keep_days: i64) -> Result<(), Failure> {
    let store = data.open()?;
    let before = System.now().ms() - keep_days * DAY_MS;
    let (mut docs, mut bytes) = (0, 0);
    for farm in store.farms()? {
        let done = upkeep::compact(&*store, farm, before)?;
        docs += done.docs;
        bytes += done.bytes;
    }
    writeln!(io::stdout(), "{bytes} bytes of {docs} documents are free")?;
    Ok(())
}

pub(crate) fn new_epoch(data: &Data) -> Result<(), Failure> {
    let store = data.open()?;
    store.new_epoch()?;
    writeln!(
        io::stdout(),
        "done: each phone will compare everything at its next sync and send what is missing here"
    )?;
    Ok(())
}
