//! Starting other programs, and speaking to the person at the terminal.
//!
//! What a command was asked for goes to standard output; the talk about it goes to standard error,
//! as cargo does it, so that output can be piped on.

use std::env;
use std::ffi::OsString;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The repository's top folder.
pub(crate) fn root() -> PathBuf {
    // Asked for at run time, so that no path of the building machine is kept in the program. Cargo
    // sets the variable for everything it runs; a program started by hand looks around itself.
    let here = env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from);
    here.as_ref()
        .and_then(|manifest| manifest.ancestors().nth(2))
        .map_or_else(|| PathBuf::from("."), PathBuf::from)
}

/// The folder that cargo builds into.
pub(crate) fn target_dir() -> PathBuf {
    root().join(env::var_os("CARGO_TARGET_DIR").unwrap_or_else(|| "target".into()))
}

/// A cargo command that runs at the repository's top.
pub(crate) fn cargo(arguments: &[&str]) -> Command {
    let program = env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
    let mut command = Command::new(program);
    command.args(arguments).current_dir(root());
    command
}

/// Writes a line to standard error.
pub(crate) fn say(line: &str) {
    // A closed terminal is no reason to stop the work.
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// Writes text to standard output as it is.
pub(crate) fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}

/// The command as a person would type it.
pub(crate) fn shown(command: &Command) -> String {
    let program = PathBuf::from(command.get_program());
    let name = program.file_name().unwrap_or(program.as_os_str());
    let words = std::iter::once(name).chain(command.get_args());
    let words: Vec<_> = words.map(|word| word.to_string_lossy()).collect();
    words.join(" ")
}

/// Runs a command with this program's own input and output.
pub(crate) fn run(command: &mut Command) -> Result<(), String> {
    let status = command
        .status()
        .map_err(|error| format!("cannot start `{}`: {error}", shown(command)))?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("`{}` failed ({status})", shown(command)))
    }
}

/// Runs a command, passes its standard output on as it comes, and shows each line to `see`.
pub(crate) fn run_watched(command: &mut Command, mut see: impl FnMut(&str)) -> Result<(), String> {
    let mut child = command
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|error| format!("cannot start `{}`: {error}", shown(command)))?;
    if let Some(output) = child.stdout.take() {
        let mut output = BufReader::new(output);
        let mut line = Vec::new();
        // Bytes, not text: a test may print anything.
        while output.read_until(b'\n', &mut line).unwrap_or(0) > 0 {
            let text = String::from_utf8_lossy(&line);
            print(&text);
            see(text.trim_end());
            line.clear();
        }
    }
    let status = child
        .wait()
        .map_err(|error| format!("lost sight of `{}`: {error}", shown(command)))?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("`{}` failed ({status})", shown(command)))
    }
}

/// What a command printed on standard output, or why it failed, with what it said about that.
pub(crate) fn output(command: &mut Command) -> Result<String, String> {
    let result = command
        .output()
        .map_err(|error| format!("cannot start `{}`: {error}", shown(command)))?;
    if result.status.success() {
        Ok(String::from_utf8_lossy(&result.stdout).into_owned())
    } else {
        Err(format!(
            "`{}` failed ({}): {}",
            shown(command),
            result.status,
            String::from_utf8_lossy(&result.stderr).trim()
        ))
    }
}

/// Whether a command can be started and succeeds; its output is thrown away.
pub(crate) fn succeeds(command: &mut Command) -> bool {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

/// As [`run`], but ends the command when it takes longer than `limit`.
pub(crate) fn run_within(command: &mut Command, limit: Duration) -> Result<(), String> {
    let started = Instant::now();
    let mut child = command
        .spawn()
        .map_err(|error| format!("cannot start `{}`: {error}", shown(command)))?;
    loop {
        match child.try_wait() {
            Ok(Some(status)) if status.success() => return Ok(()),
            Ok(Some(status)) => return Err(format!("`{}` failed ({status})", shown(command))),
            Ok(None) if started.elapsed() < limit => {
                std::thread::sleep(Duration::from_millis(100));
            }
            Ok(None) => {
                // It may have ended by itself in the meantime; then there is nothing to end.
                let _ = child.kill();
                let _ = child.wait();
                let seconds = limit.as_secs();
                return Err(format!("`{}` took over {seconds} s", shown(command)));
            }
            Err(error) => return Err(format!("lost sight of `{}`: {error}", shown(command))),
        }
    }
}

/// What could not be done with which file, and why.
pub(crate) fn named_error(what: &str, path: &Path, error: &std::io::Error) -> String {
    format!("cannot {what} {}: {error}", path.display())
}
