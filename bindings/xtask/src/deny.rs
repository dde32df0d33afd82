//! Licences and security advisories of the dependencies, by cargo-deny. `.deny.toml` holds the
//! rules.

use std::time::Duration;

use crate::process::{cargo, root, run, run_within, succeeds};
use crate::report::{Done, Report};

const INSTALL: &str =
    "cargo-deny is not installed; get it with `cargo install cargo-deny --locked`";

/// The roots whose dependencies are judged: the workspace, and those workspaces of their own that
/// make what ships. The fuzzer and the benches ship nowhere and are built by hand alone.
const ROOTS: [&str; 3] = [
    "Cargo.toml",
    "bindings/native/bindgen/Cargo.toml",
    "bindings/web/pack/Cargo.toml",
];

/// Fetching the database is a download of a few megabytes.
const FETCH_LIMIT: Duration = Duration::from_secs(120);

/// Licences, bans and sources: needs no network beyond the crates themselves.
pub(crate) fn licences(_: &mut Report) -> Result<Done, String> {
    if !installed() {
        return Ok(Done::Skipped(INSTALL.to_owned()));
    }
    for root in ROOTS {
        run(&mut deny(root, &["check", "licenses", "bans", "sources"]))?;
    }
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
    if let Err(why) = run_within(&mut deny(ROOTS[0], &["fetch", "db"]), FETCH_LIMIT) {
        return Ok(Done::Skipped(format!(
            "the advisory database cannot be had: {why}"
        )));
    }
    for root in ROOTS {
        run(&mut deny(root, &["--offline", "check", "advisories"]))?;
    }
    Ok(Done::Ran(None))
}

fn installed() -> bool {
    succeeds(&mut cargo(&["deny", "--version"]))
}

/// One set of rules for all, the one at the top.
fn deny(manifest: &str, words: &[&str]) -> std::process::Command {
    let mut command = cargo(&["deny", "--manifest-path", manifest, "--workspace"]);
    command.args(["--all-features", "--locked", "--config", ".deny.toml"]);
    command.args(words).current_dir(root());
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_package_outside_the_workspace_is_left_out() {
        let top = std::fs::read_to_string(root().join("Cargo.toml")).unwrap();
        let excluded = top
            .lines()
            .find(|line| line.starts_with("exclude"))
            .unwrap();
        let excluded: Vec<&str> = excluded.split('"').skip(1).step_by(2).collect();
        assert!(excluded.len() > 1);
        let by_hand = ["tests/benches", "tests/fuzz"];
        for folder in excluded.into_iter().filter(|f| !by_hand.contains(f)) {
            let manifest = format!("{folder}/Cargo.toml");
            assert!(ROOTS.contains(&manifest.as_str()), "{manifest}");
        }
        for manifest in ROOTS {
            assert!(root().join(manifest).is_file(), "{manifest}");
        }
    }
}
