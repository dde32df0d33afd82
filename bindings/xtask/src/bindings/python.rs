//! The wheel, built by maturin and tested in an environment of its own.

use std::env;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::Ground;
use crate::process::{named_error, output, run, run_watched, say, shown, target_dir};
use crate::report::{Done, Report};

/// Builds and installs the wheel, and runs its tests, the guide's snippets among them.
pub(super) fn test(ground: &Ground, _: &mut Report) -> Result<Done, String> {
    let venv = match environment(ground)? {
        Ok(venv) => venv,
        Err(why) => return Ok(Done::Skipped(why)),
    };
    let home = ground.home.join("python");
    let wheels = ground.work.join("wheels");
    super::empty(&wheels)?;
    let mut build = Command::new(venv.join("maturin"));
    build.current_dir(&home);
    build
        .args(["build", "--locked", "--profile", "dev", "--out"])
        .arg(&wheels);
    // The very folder that the library was built in, so that nothing is compiled twice.
    build.arg("--target-dir").arg(target_dir());
    // Where there is no generator in the workspace, maturin takes the one on the path.
    build.env("PATH", with_path(ground.bindgen.parent())?);
    say(&format!("  {}", shown(&build)));
    run(&mut build)?;
    let wheel = fs::read_dir(&wheels)
        .map_err(|e| named_error("read", &wheels, &e))?
        .find_map(|entry| Some(entry.ok()?.path()))
        .ok_or("maturin made no wheel")?;
    let mut install = Command::new(venv.join("pip"));
    install.args(["install", "--quiet", "--no-deps", "--force-reinstall"]);
    run(install.arg(&wheel))?;
    let mut tests = Command::new(venv.join("pytest"));
    tests
        .current_dir(&home)
        .env("POINTDOWN_SERVER", ground.server());
    tests.env("POINTDOWN_VECTORS", ground.home.join("vectors"));
    let mut passed = None;
    run_watched(&mut tests, |line| {
        // The closing line, such as `=== 12 passed in 7.10s ===`.
        let line = line.trim_matches(['=', ' ']);
        if let Some((n, _)) = line.split_once(" passed") {
            passed = n.parse::<u32>().ok().or(passed);
        }
    })?;
    match passed {
        Some(n @ 1..) => Ok(Done::Ran(Some(format!("{n} passed")))),
        _ => Err("not a single Python test ran".to_owned()),
    }
}

/// The `bin` folder of an environment with what the tests use; why not, where it cannot be had.
pub(super) fn environment(ground: &Ground) -> Result<Result<PathBuf, String>, String> {
    let mut version = Command::new("python3");
    let new_enough = "import sys, venv; sys.exit(sys.version_info < (3, 10))";
    if output(version.args(["-c", new_enough])).is_err() {
        return Ok(Err("python 3.10 or later with venv is not here".to_owned()));
    }
    let wanted = ground.home.join("python/requirements.txt");
    let wanted = fs::read_to_string(&wanted).map_err(|e| named_error("read", &wanted, &e))?;
    let folder = ground.work.join("venv");
    let stamp = folder.join("requirements.txt");
    if fs::read_to_string(&stamp).is_ok_and(|had| had == wanted) {
        return Ok(Ok(folder.join("bin")));
    }
    super::empty(&folder)?;
    run(Command::new("python3").args(["-m", "venv"]).arg(&folder))?;
    let list = ground.home.join("python/requirements.txt");
    let mut install = Command::new(folder.join("bin/pip"));
    install.args([
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--requirement",
    ]);
    say(&format!("  {}", shown(install.arg(list))));
    if let Err(why) = run(&mut install) {
        return Ok(Err(format!("{why}; is there a network?")));
    }
    fs::write(&stamp, wanted).map_err(|e| named_error("write", &stamp, &e))?;
    Ok(Ok(folder.join("bin")))
}

fn with_path(first: Option<&Path>) -> Result<OsString, String> {
    let path = env::var_os("PATH").unwrap_or_default();
    let all = first.map(Path::to_path_buf).into_iter();
    env::join_paths(all.chain(env::split_paths(&path))).map_err(|e| format!("PATH: {e}"))
}
