//! The phone app and the kitchen screen in a real browser: built, carried by the real server, driven
//! through Chromium.
//!
//! Node and a Chromium are for these tests alone; nobody who builds or runs Pointdown needs them.

use std::path::PathBuf;
use std::process::Command;

use crate::process::{cargo, root, run, run_watched, say, shown, succeeds, target_dir};
use crate::report::{Done, Report};
use crate::web;

/// Where Chromium is looked for, unless `POINTDOWN_CHROMIUM` names one.
const CHROMIUMS: [&str; 3] = [
    "/usr/bin/chromium",
    "/usr/bin/chromium-browser",
    "/usr/bin/google-chrome",
];

/// The step of the gate.
pub(crate) fn step(report: &mut Report) -> Result<Done, String> {
    let node = Command::new("node").arg("--version").output();
    let version = node.map(|out| String::from_utf8_lossy(&out.stdout).trim().to_owned());
    match version.as_deref().ok().and_then(major) {
        Some(20..) => {}
        _ => return Ok(Done::Skipped("node 20 or later is not here".to_owned())),
    }
    if !succeeds(Command::new("npm").arg("--version")) {
        return Ok(Done::Skipped("npm is not here".to_owned()));
    }
    let Some(chromium) = chromium() else {
        let why = "no Chromium is here; on Debian: apt-get install chromium";
        return Ok(Done::Skipped(why.to_owned()));
    };
    // The kitchen screen needs no phone app, and is tried all the same.
    let what = match web::build()? {
        Done::Ran(_) => "tests/browser/",
        Done::Skipped(why) => {
            report.skip("the phone app in a browser", &why);
            "tests/browser/kitchen.test.mjs"
        }
    };
    let tests = root().join("tests/browser");
    if !tests.join("node_modules/.package-lock.json").is_file() {
        let mut install = Command::new("npm");
        install.args(["ci", "--ignore-scripts", "--no-audit", "--no-fund"]);
        install.current_dir(&tests);
        say(&format!("  {}", shown(&install)));
        if let Err(why) = run(&mut install) {
            return Ok(Done::Skipped(format!("{why}; is there a network?")));
        }
    }
    run(&mut cargo(&[
        "build",
        "--locked",
        "--package",
        "pointdown-server",
        "--package",
        "pointdown-cli",
    ]))?;
    let built = |name: &str| {
        let file = format!("debug/{name}{}", std::env::consts::EXE_SUFFIX);
        target_dir().join(file)
    };
    let mut command = Command::new("node");
    // One browser after the other: several would measure each other.
    command.args(["--test", "--test-concurrency=1", "--test-reporter=spec"]);
    command.arg(what).current_dir(root());
    command.env("POINTDOWN_CHROMIUM", chromium);
    command.env("POINTDOWN_SERVER", built("pointdown-server"));
    // The phones of the kitchen screen's tests are terminals.
    command.env("POINTDOWN_TERMINAL", built("pointdown"));
    command.env("POINTDOWN_SHOTS", target_dir().join("browser-shots"));
    let mut passed = None;
    run_watched(&mut command, |line| {
        // The closing line of node's reporter, such as `ℹ pass 12`.
        if let Some(n) = line.strip_prefix("ℹ pass ") {
            passed = n.parse::<u32>().ok();
        }
    })?;
    match passed {
        Some(n @ 1..) => Ok(Done::Ran(Some(format!("{n} passed in the browser")))),
        _ => Err("not a single browser test ran".to_owned()),
    }
}

/// The first number of a version such as `v20.20.2`.
fn major(version: &str) -> Option<u32> {
    version.strip_prefix('v')?.split('.').next()?.parse().ok()
}

/// The browser to drive, if there is one.
pub(crate) fn chromium() -> Option<PathBuf> {
    match std::env::var_os("POINTDOWN_CHROMIUM") {
        Some(named) => Some(PathBuf::from(named)),
        None => CHROMIUMS
            .iter()
            .map(PathBuf::from)
            .find(|path| path.exists()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_number_of_a_version_is_read() {
        assert_eq!(major("v20.20.2"), Some(20));
        assert_eq!(major("20"), None);
        assert_eq!(major(""), None);
    }
}
