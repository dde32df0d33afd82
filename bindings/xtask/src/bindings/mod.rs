//! `cargo xtask bindings`: the library for native apps, in each language that it is written for.
//!
//! What a language needs is installed by package name into `target/bindings`, and nowhere else. A
//! language whose tools cannot be had here is skipped, and the summary says so.

mod costs;
mod kotlin;
mod python;
mod swift;

use std::fs;
use std::path::{Path, PathBuf};

use crate::process::{cargo, named_error, output, root, run, say, shown, target_dir};
use crate::report::{Done, Report};

const HELP: &str = "allowed are interface, python, kotlin, swift and --bless";

/// What every language builds on.
struct Ground {
    /// The folder of the crate.
    home: PathBuf,
    /// Where tools and results lie.
    work: PathBuf,
    /// The folder of the built library and server.
    built: PathBuf,
    /// The generator of the language sides.
    bindgen: PathBuf,
}

impl Ground {
    fn library(&self) -> PathBuf {
        let (before, after) = (std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX);
        self.built.join(format!("{before}pointdown_native{after}"))
    }

    fn server(&self) -> PathBuf {
        let suffix = std::env::consts::EXE_SUFFIX;
        self.built.join(format!("pointdown-server{suffix}"))
    }

    /// Builds library, server and generator.
    fn build() -> Result<Ground, String> {
        let home = root().join("bindings/native");
        let work = target_dir().join("bindings");
        fs::create_dir_all(&work).map_err(|e| named_error("create", &work, &e))?;
        // One after the other: together they would need a third set of features, and every
        // dependency once more.
        for of in [
            ["--package", "pointdown-native", "--lib"].as_slice(),
            &["--package", "pointdown-server"],
        ] {
            let mut build = cargo(&["build", "--locked"]);
            build.args(of);
            say(&format!("  {}", shown(&build)));
            run(&mut build)?;
        }
        let ground = Ground {
            bindgen: bindgen(&home)?,
            built: target_dir().join("debug"),
            home,
            work,
        };
        Ok(ground)
    }

    /// Writes one language's side into an empty folder.
    fn generate(&self, language: &str) -> Result<PathBuf, String> {
        let out = self.work.join("generated").join(language);
        empty(&out)?;
        let mut generate = std::process::Command::new(&self.bindgen);
        generate.args(["generate", "--no-format", "--language", language]);
        generate.arg("--config").arg(self.home.join("bindgen.toml"));
        generate.arg("--out-dir").arg(&out).arg(self.library());
        run(&mut generate)?;
        Ok(out)
    }
}

/// Builds the generator, in a workspace and a folder of its own.
fn bindgen(home: &Path) -> Result<PathBuf, String> {
    let folder = target_dir().join("bindgen");
    let mut build = cargo(&["build", "--locked", "--release", "--manifest-path"]);
    build.arg(home.join("bindgen/Cargo.toml"));
    build.arg("--target-dir").arg(&folder);
    say(&format!("  {}", shown(&build)));
    run(&mut build)?;
    let name = format!("uniffi-bindgen{}", std::env::consts::EXE_SUFFIX);
    Ok(folder.join("release").join(name))
}

fn empty(folder: &Path) -> Result<(), String> {
    if folder.exists() {
        fs::remove_dir_all(folder).map_err(|e| named_error("empty", folder, &e))?;
    }
    fs::create_dir_all(folder).map_err(|e| named_error("create", folder, &e))
}

/// The step of the gate.
pub(crate) fn step(report: &mut Report) -> Result<Done, String> {
    let ground = Ground::build()?;
    interface(&ground)?;
    let mut passed = Vec::new();
    for (name, work) in LANGUAGES {
        say(&format!("--- {name}"));
        match work(&ground, report)? {
            Done::Ran(said) => passed.push(format!("{name} {}", said.unwrap_or_default())),
            Done::Skipped(why) => report.skip(name, &why),
        }
    }
    Ok(Done::Ran(Some(passed.join(", "))))
}

type Work = fn(&Ground, &mut Report) -> Result<Done, String>;

const LANGUAGES: [(&str, Work); 3] = [
    ("python", python::test),
    ("kotlin", kotlin::test),
    ("swift", swift::test),
];

/// `cargo xtask bench --bindings`: what the library weighs and what calls into it cost.
pub(crate) fn bench() -> Result<(), String> {
    costs::print(&Ground::build()?)
}

/// Reads the words after `bindings`.
pub(crate) fn command(words: &[String]) -> Result<(), String> {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let mut report = Report::default();
    let outcome = match words.as_slice() {
        [] => report.step("bindings", step),
        ["--bless"] => return bless(&Ground::build()?),
        ["interface"] => return interface(&Ground::build()?),
        [one] => match LANGUAGES.iter().find(|(name, _)| name == one) {
            Some((name, work)) => report.step(name, |report| work(&Ground::build()?, report)),
            None => return Err(format!("there is no part {one:?}; {HELP}")),
        },
        more => return Err(format!("one word at most, but given {more:?}; {HELP}")),
    };
    report.print(outcome.as_ref().err().map(String::as_str), &[]);
    outcome
}

/// What is written from the library and kept: what an app can see of it, and what type checkers know
/// of its Python side.
const KEPT: [(&str, &str); 2] = [
    ("interface", "interface.txt"),
    ("stub", "python/src/pointdown/_native/pointdown.pyi"),
];

/// The guard of the interface: what an app can see is what the files say.
fn interface(ground: &Ground) -> Result<(), String> {
    for (what, name) in KEPT {
        let file = ground.home.join(name);
        let intended = fs::read_to_string(&file).map_err(|e| named_error("read", &file, &e))?;
        let found = told(ground, what)?;
        if intended != found {
            return Err(format!(
                "the {what} is not what bindings/native/{name} says:\n{}\nIf apps are to see this, \
                 run `cargo xtask bindings --bless` and say why in the commit.",
                changed(&intended, &found).join("\n")
            ));
        }
        let lines = found.lines().count();
        say(&format!("the {what} is as intended: {lines} lines"));
    }
    Ok(())
}

fn bless(ground: &Ground) -> Result<(), String> {
    for (what, name) in KEPT {
        let file = ground.home.join(name);
        fs::write(&file, told(ground, what)?).map_err(|e| named_error("write", &file, &e))?;
    }
    Ok(())
}

fn told(ground: &Ground, what: &str) -> Result<String, String> {
    let mut tell = std::process::Command::new(&ground.bindgen);
    output(tell.arg(what).arg(ground.library()))
}

/// The lines that only one of two texts has.
fn changed(intended: &str, found: &str) -> Vec<String> {
    let only = |one: &str, other: &str, sign: char| -> Vec<String> {
        let known: Vec<&str> = other.lines().collect();
        let lines = one.lines().filter(|line| !known.contains(line));
        lines.map(|line| format!("{sign} {line}")).collect()
    };
    let mut all = only(intended, found, '-');
    all.extend(only(found, intended, '+'));
    all
}

#[cfg(test)]
mod tests {
    use super::changed;

    #[test]
    fn a_change_of_the_interface_is_shown_from_both_sides() {
        assert!(changed("a\nb\n", "b\na\n").is_empty());
        assert_eq!(changed("a\nb\n", "a\nc\n"), ["- b", "+ c"]);
    }
}
