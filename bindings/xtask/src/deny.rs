//! Licences and security advisories of the dependencies, by cargo-deny. `.deny.toml` holds the
//! rules.

use std::time::Duration;

use crate::process::{cargo, run, run_within, succeeds};
use crate::report::{Done, Report};

const INSTALL: &str =
    "cargo-deny is not installed; get it with `cargo install cargo-deny --locked`";

/// Fetching the database is a download of a few megabytes.
const FETCH_LIMIT: Duration = Duration::from_secs(120);

/// Licences, bans and sources: needs no network beyond the crates themselves.
pub(crate) fn licences(_: &mut Report) -> Result<Done, String> {
    if !installed() {
        return Ok(Done::Skipped(INSTALL.to_owned()));
    }
    run(&mut deny(&["check", "licenses", "bans", "sources"]))?;
    Ok(Done::Ran(None))
}

/// Advisories: only where their database can be had.
pub(crate) fn advisories(_: &mut Report) -> Result<Done, String> {
    if !installed() {
        return Ok(Done::Skipped(INSTALL.to_owned()));
    }
    match std::env::var("POINTDOWN_ADVISORIES").as_deref() {
        Err(_) | Ok("") => {}
        Ok("skip") => {
            let why = "POINTDOWN_ADVISORIES=skip is set; unset it to fetch the database";
            return Ok(Done::Skipped(why.to_owned()));
        }
        Ok(other) => {
            return Err(format!(
                "POINTDOWN_ADVISORIES is {other:?}; allowed is only \"skip\""
            ));
        }
    }
    if let Err(why) = run_within(&mut deny(&["fetch", "db"]), FETCH_LIMIT) {
        return Ok(Done::Skipped(format!(
            "the advisory database cannot be had: {why}"
        )));
    }
    run(&mut deny(&["--offline", "check", "advisories"]))?;
    Ok(Done::Ran(None))
}

fn installed() -> bool {
    succeeds(&mut cargo(&["deny", "--version"]))
}

fn deny(words: &[&str]) -> std::process::Command {
    let mut command = cargo(&["deny", "--workspace", "--all-features", "--locked"]);
    command.args(words);
    command
}
