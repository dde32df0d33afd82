//! `cargo xtask test`: every check that a change must pass.

use std::process::Command;

use crate::bindings;
use crate::deny;
use crate::instructions;
use crate::phone;
use crate::process::{cargo, print, run, run_watched, say, succeeds};
use crate::report::{Done, Report};
use crate::wasm;

type Work = fn(&mut Report) -> Result<Done, String>;

/// The steps in order, quick ones and those that fail most often first.
const STEPS: &[(&str, Work)] = &[
    ("tools", tools),
    ("format", format_check),
    ("lint", lint),
    ("layers", layers),
    ("browser", browser),
    ("tests", tests),
    ("bindings", bindings::step),
    ("instructions", instructions::step),
    ("phone", phone::step),
    ("docs", docs),
    ("licences", deny::licences),
    ("advisories", deny::advisories),
];

/// The core's features in the order of its layers; each has to stand without the later ones.
const LAYERS: &[&str] = &[
    "",
    "files",
    "paper",
    "ledger",
    "store",
    "farm",
    "farm,files,paper",
];

/// Runs the steps and prints the summary.
pub(crate) fn run_from(first: usize) -> Result<(), String> {
    let mut report = Report::default();
    for (name, _) in STEPS.iter().take(first) {
        report.skip(name, "left out by the step named on the command line");
    }
    let mut outcome = Ok(());
    let mut left = STEPS.iter().skip(first);
    for (name, work) in left.by_ref() {
        outcome = report.step(name, work);
        if outcome.is_err() {
            break;
        }
    }
    let not_reached: Vec<&str> = left.map(|(name, _)| *name).collect();
    report.print(outcome.as_ref().err().map(String::as_str), &not_reached);
    outcome
}

/// Reads the words after `test`.
pub(crate) fn run_words(words: &[String]) -> Result<(), String> {
    let names: Vec<&str> = STEPS.iter().map(|(name, _)| *name).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words.as_slice() {
        [] => run_from(0),
        ["--list"] => {
            print(&format!("{}\n", names.join("\n")));
            Ok(())
        }
        [from] => match names.iter().position(|name| name == from) {
            Some(first) => run_from(first),
            None => Err(format!(
                "there is no step {from:?}; allowed are --list and {}",
                names.join(", ")
            )),
        },
        more => Err(format!(
            "`cargo xtask test` takes one word, but was given {more:?}"
        )),
    }
}

/// What the later steps start, and cannot be had by themselves.
fn tools(_: &mut Report) -> Result<Done, String> {
    let wanted: [(Command, &str); 3] = [
        (cargo(&["fmt", "--version"]), "rustup component add rustfmt"),
        (
            cargo(&["clippy", "--version"]),
            "rustup component add clippy",
        ),
        (
            c_compiler(),
            "apt-get install gcc libc6-dev, or your system's C compiler",
        ),
    ];
    for (mut command, remedy) in wanted {
        if !succeeds(&mut command) {
            let shown = crate::process::shown(&command);
            return Err(format!("`{shown}` does not work; get it with: {remedy}"));
        }
    }
    say("rustfmt, clippy and a C compiler are here; nothing else is needed but for the browser,");
    say("where that step sees to it and says so.");
    Ok(Done::Ran(None))
}

/// The C compiler that builds SQLite and links every program.
fn c_compiler() -> Command {
    let mut command = Command::new(std::env::var_os("CC").unwrap_or_else(|| "cc".into()));
    command.arg("--version");
    command
}

fn format_check(_: &mut Report) -> Result<Done, String> {
    run(&mut cargo(&["fmt", "--all", "--check"]))
        .map_err(|why| format!("{why}; `cargo fmt --all` puts it right"))?;
    Ok(Done::Ran(None))
}

fn lint(_: &mut Report) -> Result<Done, String> {
    let mut command = cargo(&["clippy", "--workspace", "--all-targets", "--locked"]);
    run(command.args(["--", "-D", "warnings"]))?;
    Ok(Done::Ran(None))
}

/// Each layer of the core without those above it: an upward import does not compile.
fn layers(_: &mut Report) -> Result<Done, String> {
    for features in LAYERS {
        let mut command = cargo(&["check", "--package", "pointdown-core", "--locked"]);
        command.arg("--no-default-features");
        if !features.is_empty() {
            command.args(["--features", features]);
        }
        say(&format!("  {}", crate::process::shown(&command)));
        run(&mut command)?;
    }
    Ok(Done::Ran(None))
}

fn browser(_: &mut Report) -> Result<Done, String> {
    wasm::compile_core()
}

fn tests(report: &mut Report) -> Result<Done, String> {
    let mut tally = Tally::default();
    let mut command = cargo(&["test", "--workspace", "--locked"]);
    run_watched(&mut command, |line| tally.see(line))?;
    if tally.passed == 0 {
        return Err("not a single test ran".to_owned());
    }
    if tally.ignored > 0 {
        let why = format!("{} are marked as ignored and did not run", tally.ignored);
        report.skip("some tests", &why);
    }
    Ok(Done::Ran(Some(format!("{} passed", tally.passed))))
}

fn docs(_: &mut Report) -> Result<Done, String> {
    let mut command = cargo(&["doc", "--workspace", "--no-deps", "--locked"]);
    run(command.env("RUSTDOCFLAGS", "-D warnings"))?;
    Ok(Done::Ran(None))
}

/// The sum over the closing lines of all test programs.
#[derive(Debug, Default, PartialEq, Eq)]
struct Tally {
    passed: u64,
    ignored: u64,
}

impl Tally {
    /// Adds a line such as `test result: ok. 3 passed; 0 failed; 1 ignored; ...`.
    fn see(&mut self, line: &str) {
        let Some(counts) = line.strip_prefix("test result: ") else {
            return;
        };
        let counts = counts.split_once(". ").map_or(counts, |(_, counts)| counts);
        for part in counts.split("; ") {
            match part
                .split_once(' ')
                .map(|(n, word)| (n.parse::<u64>(), word))
            {
                Some((Ok(n), "passed")) => self.passed += n,
                Some((Ok(n), "ignored")) => self.ignored += n,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closing_lines_of_several_programs_are_summed() {
        // The lines as the standard test harness of Rust prints them.
        let mut tally = Tally::default();
        tally.see("running 4 tests");
        tally.see("test result: ok. 3 passed; 0 failed; 1 ignored; 0 measured; 0 filtered out; finished in 0.01s");
        tally.see("test result: FAILED. 12 passed; 1 failed; 0 ignored; 0 measured; 2 filtered out; finished in 1.50s");
        tally.see("my test result: ok. 9 passed; 9 ignored");
        assert_eq!(
            tally,
            Tally {
                passed: 15,
                ignored: 1
            }
        );
    }

    #[test]
    fn step_names_are_unique_and_an_unknown_one_is_refused_with_the_names() {
        let mut names: Vec<_> = STEPS.iter().map(|(name, _)| *name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), STEPS.len());
        let refused = run_words(&["speling".to_owned()]);
        assert!(refused.is_err_and(|why| why.contains("speling") && why.contains("licences")));
    }
}
