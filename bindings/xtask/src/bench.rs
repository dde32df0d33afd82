//! `cargo xtask bench`: the same work through Pointdown and through what a developer would pick
//! instead. The program is in `tests/benches`, a workspace of its own.

use std::path::Path;
use std::process::Command;

use crate::process::{cargo, root, run, say, shown, succeeds, target_dir};
use crate::report::Done;
use crate::{bindings, phone, web};

const BINDINGS: &str = "--bindings";

/// Builds everything that is measured, and runs it. All words go to the program, but for
/// `--no-browser`; `--bindings`, alone, asks for the library for native apps instead.
pub(crate) fn command(words: &[String]) -> Result<(), String> {
    if words.iter().any(|word| word == BINDINGS) {
        return match words {
            [_] => bindings::bench(),
            _ => Err(format!("{BINDINGS} goes with no other word")),
        };
    }
    let folder = root().join("tests/benches");
    // Beside the other builds, but apart from them: it has a lock file of its own.
    let target = target_dir().join("benches");
    let mut build = cargo(&["build", "--release", "--locked"]);
    build.arg("--manifest-path").arg(folder.join("Cargo.toml"));
    build.arg("--target-dir").arg(&target);
    run(&mut build)?;
    let program = format!("release/bench{}", std::env::consts::EXE_SUFFIX);
    let mut bench = Command::new(target.join(program));
    bench.current_dir(root());
    let scripts = folder.join("peers-js");
    match packages(&scripts) {
        Ok(()) => {
            bench.arg("--scripts").arg(&scripts);
        }
        Err(why) => say(&format!("!!! SKIPPED the JavaScript peers: {why}")),
    }
    if !words.iter().any(|word| word == "--no-browser") {
        match browser(&mut bench) {
            Ok(()) => {
                bench.arg("--browser").arg(folder.join("browser.mjs"));
            }
            Err(why) => say(&format!("!!! SKIPPED the phone app in a browser: {why}")),
        }
    }
    bench.args(words.iter().filter(|word| *word != "--no-browser"));
    run(&mut bench)
}

/// Builds the phone app and a server that carries it, and says where they and a browser are.
fn browser(bench: &mut Command) -> Result<(), String> {
    let Some(chromium) = phone::chromium() else {
        return Err("no Chromium is here; on Debian: apt-get install chromium".to_owned());
    };
    if let Done::Skipped(why) = web::build()? {
        return Err(why);
    }
    packages(&root().join("tests/browser"))?;
    // Of the server nothing is measured here.
    run(&mut cargo(&[
        "build",
        "--locked",
        "--package",
        "pointdown-server",
    ]))?;
    let server = format!("debug/pointdown-server{}", std::env::consts::EXE_SUFFIX);
    bench.env("POINTDOWN_CHROMIUM", chromium);
    bench.env("POINTDOWN_SERVER", target_dir().join(server));
    Ok(())
}

/// Puts the packages of a folder's lock file there.
fn packages(folder: &Path) -> Result<(), String> {
    if !succeeds(Command::new("npm").arg("--version")) {
        return Err("node and npm are not here".to_owned());
    }
    if folder.join("node_modules/.package-lock.json").is_file() {
        return Ok(());
    }
    let mut install = Command::new("npm");
    // Native parts come built inside the packages; nothing has to be compiled or fetched.
    install.args(["ci", "--ignore-scripts", "--no-audit", "--no-fund"]);
    install.current_dir(folder);
    say(&format!("  {}", shown(&install)));
    run(&mut install).map_err(|why| format!("{why}; is there a network?"))
}
