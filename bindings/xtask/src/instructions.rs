//! `cargo xtask instructions`: how many instructions the paths take that people wait for, counted by
//! callgrind and held against kept counts. No clock is looked at, so a busy machine changes nothing.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::process::{cargo, named_error, output, print, root, run, say, succeeds, target_dir};
use crate::report::{Done, Report};

/// How much more than the kept count is taken for noise: random hash seeds, other paths of files.
const MARGIN: f64 = 0.10;

/// The same with another compiler than the one that the counts were made with.
const OTHER_MARGIN: f64 = 0.35;

/// How much more a path may take with two years of history than with one. One that followed the
/// history would take twice as much.
const GROWTH: f64 = 1.15;

/// Paths that must not follow the history.
const FLAT: [&str; 7] = ["open", "log", "exchange", "day", "sheet", "review", "due"];

type Counts = BTreeMap<String, u64>;

/// The step of the gate.
pub(crate) fn step(_: &mut Report) -> Result<Done, String> {
    if !cfg!(all(target_os = "linux", target_arch = "x86_64")) {
        let why = "the kept counts are of x86-64 Linux";
        return Ok(Done::Skipped(why.to_owned()));
    }
    if !succeeds(Command::new("valgrind").arg("--version")) {
        let why = "valgrind is not here; on Debian: apt-get install valgrind";
        return Ok(Done::Skipped(why.to_owned()));
    }
    let counts = counted()?;
    let (compiler, kept) =
        read(&fs::read_to_string(kept()).map_err(|e| named_error("read", &kept(), &e))?)?;
    let margin = if compiler == version()? {
        MARGIN
    } else {
        say(&format!(
            "the counts were kept with {compiler}: the margin is wider"
        ));
        OTHER_MARGIN
    };
    for (name, count) in &counts {
        let was = kept.get(name).copied().unwrap_or(0);
        say(&format!(
            "  {name:<16} {count:>12} instructions, kept {was:>12}"
        ));
    }
    let wrong = held(&counts, &kept, margin);
    if wrong.is_empty() {
        return Ok(Done::Ran(Some(format!(
            "{} paths within their counts",
            counts.len()
        ))));
    }
    let remedy = "`cargo xtask instructions --keep` keeps what was counted, if it should be so";
    Err(format!("{}; {remedy}", wrong.join("; ")))
}

/// The command by itself: the same, or with `--keep` writes the counts.
pub(crate) fn command(words: &[String]) -> Result<(), String> {
    match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => match step(&mut Report::default())? {
            Done::Ran(remark) => {
                print(&format!("{}\n", remark.unwrap_or_default()));
                Ok(())
            }
            Done::Skipped(why) => {
                say(&format!("!!! SKIPPED: {why}"));
                Ok(())
            }
        },
        ["--keep"] => {
            let text = written(&version()?, &counted()?);
            fs::write(kept(), text).map_err(|e| named_error("write", &kept(), &e))
        }
        _ => Err("`cargo xtask instructions` takes nothing or --keep".to_owned()),
    }
}

fn kept() -> PathBuf {
    root().join("tests/data/instructions.txt")
}

/// The compiler by name, such as `rustc 1.95.0`.
fn version() -> Result<String, String> {
    let said = output(Command::new("rustc").arg("--version").current_dir(root()))?;
    Ok(said.split(' ').take(2).collect::<Vec<_>>().join(" "))
}

/// What is more than it should be, in words.
fn held(counts: &Counts, kept: &Counts, margin: f64) -> Vec<String> {
    let mut wrong = Vec::new();
    for (name, count) in counts {
        match kept.get(name) {
            None => wrong.push(format!("no count is kept of {name}")),
            Some(was) if *count as f64 > *was as f64 * (1.0 + margin) => {
                let more = *count as f64 / *was as f64;
                wrong.push(format!(
                    "{name} takes {more:.2} times the instructions kept"
                ));
            }
            Some(_) => {}
        }
    }
    for name in kept.keys().filter(|name| !counts.contains_key(*name)) {
        wrong.push(format!("{name} was not counted"));
    }
    for path in FLAT {
        let of = |family: &str| counts.get(&format!("{family}/{path}")).copied();
        if let (Some(one), Some(two)) = (of("one"), of("two"))
            && two as f64 > one as f64 * GROWTH
        {
            let more = two as f64 / one as f64;
            wrong.push(format!(
                "{path} takes {more:.2} times as many with two years of history as with one"
            ));
        }
    }
    wrong
}

/// Builds the program, and counts.
fn counted() -> Result<Counts, String> {
    let mut build = cargo(&[
        "build",
        "--locked",
        "--package",
        "pointdown-tests",
        "--bin",
        "instructions",
    ]);
    // As the workspace has it for its tests; a setting outside of it must not change the counts.
    for package in ["pointdown-core", "pointdown-server"] {
        build.arg("--config");
        build.arg(format!("profile.dev.package.{package}.opt-level=2"));
    }
    run(&mut build)?;
    let program = target_dir().join("debug/instructions");
    let folder = target_dir().join("instructions");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).map_err(|e| named_error("make", &folder, &e))?;
    run(Command::new(&program).arg("prepare").arg(&folder))?;
    let mut valgrind = Command::new("valgrind");
    valgrind.args(["--tool=callgrind", "--collect-atstart=no"]);
    // Each time the one function begins, what was counted since the last time is written into the
    // next file; what was counted last, into the file without a number.
    let measured = "instructions::measured";
    valgrind.arg(format!("--toggle-collect={measured}"));
    valgrind.arg(format!("--dump-before={measured}"));
    valgrind.arg(format!(
        "--callgrind-out-file={}",
        folder.join("counts").display()
    ));
    valgrind.arg(&program).arg("run").arg(&folder);
    let names = output(&mut valgrind)?;
    let mut counts = Counts::new();
    let names: Vec<&str> = names.lines().collect();
    for (n, name) in names.iter().enumerate() {
        let file = folder.join(match n + 1 < names.len() {
            true => format!("counts.{}", n + 2),
            false => "counts".to_owned(),
        });
        let text = fs::read_to_string(&file).map_err(|e| named_error("read", &file, &e))?;
        let count = total(&text).ok_or_else(|| format!("{} has no total", shown(&file)))?;
        if count == 0 {
            return Err(format!("nothing was counted of {name}"));
        }
        counts.insert((*name).to_owned(), count);
    }
    let _ = fs::remove_dir_all(&folder);
    Ok(counts)
}

fn shown(file: &Path) -> String {
    file.display().to_string()
}

/// The sum in a file of callgrind's, which stands in a line such as `summary: 4711`.
fn total(text: &str) -> Option<u64> {
    let line = |word: &str| {
        text.lines()
            .find_map(|line| line.strip_prefix(word)?.trim().parse().ok())
    };
    line("summary:").or_else(|| line("totals:"))
}

/// The compiler and the counts of a kept file.
fn read(text: &str) -> Result<(String, Counts), String> {
    let mut compiler = String::new();
    let mut counts = Counts::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        match line.split_once('\t') {
            Some(("compiler", name)) => name.clone_into(&mut compiler),
            Some((name, count)) => {
                let count = count.trim().parse();
                let count = count.map_err(|_| format!("{line:?} has no count"))?;
                counts.insert(name.to_owned(), count);
            }
            None => return Err(format!("{line:?} is no line of kept counts")),
        }
    }
    Ok((compiler, counts))
}

fn written(compiler: &str, counts: &Counts) -> String {
    let mut text = String::from(
        "# Instructions of each path, counted by callgrind; written by `cargo xtask instructions --keep`.\n",
    );
    text += &format!("compiler\t{compiler}\n");
    for (name, count) in counts {
        text += &format!("{name}\t{count}\n");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(all: &[(&str, u64)]) -> Counts {
        all.iter()
            .map(|(name, n)| ((*name).to_owned(), *n))
            .collect()
    }

    #[test]
    fn a_slower_path_a_missing_one_and_one_that_follows_history_are_named() {
        let kept = counts(&[("one/log", 1000), ("two/log", 1000), ("two/day", 10)]);
        assert!(held(&kept, &kept, 0.1).is_empty());
        let slower = counts(&[("one/log", 1000), ("two/log", 1300)]);
        let wrong = held(&slower, &kept, 0.1);
        assert_eq!(wrong.len(), 3, "{wrong:?}");
        assert!(wrong[0].starts_with("two/log takes 1.30 times"));
        assert!(wrong[1].starts_with("two/day was not counted"));
        assert!(wrong[2].starts_with("log takes 1.30 times as many with two years"));
    }

    #[test]
    fn kept_counts_are_read_as_they_were_written() {
        let all = counts(&[("one/log", 12), ("two/log", 34)]);
        let text = written("rustc 1.95.0", &all);
        assert_eq!(read(&text), Ok(("rustc 1.95.0".to_owned(), all)));
    }

    #[test]
    fn the_total_is_read_from_callgrinds_own_lines() {
        // The form is described in valgrind's manual, "Callgrind Format Specification".
        assert_eq!(
            total("events: Ir\nsummary: 4711\nfn=x\ntotals: 4712\n"),
            Some(4711)
        );
        assert_eq!(total("events: Ir\ntotals: 12\n"), Some(12));
        assert_eq!(total("events: Ir\n"), None);
    }
}
