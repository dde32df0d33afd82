//! `cargo xtask demo`, `checks`, `simulate` and `load`: programs of the tests' package, built and run.

use crate::process;
use crate::report::Done;
use crate::web;

/// Builds one program of `pointdown-tests` for release and runs it with these words.
///
/// Cargo speaks on standard error only, so standard output is the program's alone. On Unix the
/// program takes this one's place: its exit code and Ctrl-C need no forwarding.
pub(crate) fn run(program: &str, words: &[String]) -> Result<(), String> {
    if program == "demo" {
        // Before the server, which carries the app. A machine that cannot build it still gets the
        // demo, and is told what is missing.
        match web::build() {
            Ok(Done::Ran(_)) => {}
            Ok(Done::Skipped(why)) => process::say(&format!("without the phone app: {why}")),
            Err(why) => return Err(why),
        }
        // The demo prints with the terminal client, and tells how to go on with it.
        let packages = [
            "--package",
            "pointdown-cli",
            "--package",
            "pointdown-server",
        ];
        let mut build = process::cargo(&["build", "--release", "--locked", "--bins"]);
        build.args(packages);
        process::run(&mut build)?;
    }
    run_with(&[], program, words)
}

/// Plays simulated families; with the deliberate faults compiled in only where they are asked for.
pub(crate) fn simulate(words: &[String]) -> Result<(), String> {
    let faulty = words.iter().any(|word| word.starts_with("--mutant"));
    let features: &[&str] = if faulty {
        &["--features", "mutants"]
    } else {
        &[]
    };
    run_with(features, "simulate", words)
}

/// Loads a release build of the server.
pub(crate) fn load(words: &[String]) -> Result<(), String> {
    process::run(&mut process::cargo(&[
        "build",
        "--release",
        "--locked",
        "--package",
        "pointdown-server",
    ]))?;
    run_with(&[], "load", words)
}

fn run_with(options: &[&str], program: &str, words: &[String]) -> Result<(), String> {
    let mut command = process::cargo(&["run", "--release", "--locked"]);
    command.args(options);
    command.args(["--package", "pointdown-tests", "--bin", program, "--"]);
    command.args(words);
    // Cargo changes no folder, so relative paths among the words keep their meaning.
    if let Ok(here) = std::env::current_dir() {
        command.current_dir(here);
    }
    replace(command)
}

#[cfg(unix)]
fn replace(mut command: std::process::Command) -> Result<(), String> {
    use std::os::unix::process::CommandExt;
    let error = command.exec();
    Err(format!(
        "cannot start `{}`: {error}",
        process::shown(&command)
    ))
}

#[cfg(not(unix))]
fn replace(mut command: std::process::Command) -> Result<(), String> {
    let status = command
        .status()
        .map_err(|error| format!("cannot start `{}`: {error}", process::shown(&command)))?;
    std::process::exit(status.code().unwrap_or(1))
}
