use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{SystemTime, UNIX_EPOCH};

use serde_json::Value;
use tempfile::TempDir;

/// A folder with one database, and the program that works on it.
pub(crate) struct Phone {
    folder: TempDir,
}

/// What one run of the program said.
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl From<Output> for Said {
    fn from(output: Output) -> Said {
        Said {
            code: output.status.code().expect("the program ends by itself"),
            out: String::from_utf8(output.stdout).expect("text"),
            err: String::from_utf8(output.stderr).expect("text"),
        }
    }
}

impl Said {
    /// The text of a run that did what it should.
    #[track_caller]
    pub(crate) fn good(self) -> String {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        assert_eq!(self.err, "");
        self.out
    }

    /// The one JSON value of a run with `--json`.
    #[track_caller]
    pub(crate) fn json(self) -> Value {
        let text = self.good();
        assert_eq!(text.lines().count(), 1, "one value in one line: {text}");
        serde_json::from_str(&text).expect("JSON")
    }

    /// The error of a run with `--json` that should fail with this exit code.
    #[track_caller]
    pub(crate) fn failed(self, code: i32) -> Value {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        assert_eq!(self.out, "", "nothing on standard output");
        serde_json::from_str(&self.err).expect("the error is JSON")
    }
}

/// A zone in which it is about noon now, so that no test runs into midnight: the zones `Etc/GMT`
/// of the IANA database have the sign of POSIX, `Etc/GMT-3` is three hours ahead of UTC.
pub(crate) fn noon_zone() -> String {
    let seconds = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .expect("a clock after 1970")
        .as_secs();
    let ahead = 12 - (seconds / 3600 % 24) as i64;
    format!("Etc/GMT{:+}", -ahead)
}

impl Phone {
    /// A phone that nothing was begun on yet.
    pub(crate) fn new() -> Phone {
        Phone {
            folder: tempfile::tempdir().expect("a folder"),
        }
    }

    /// A phone with a farm: two coops, hens and ducks, two people.
    pub(crate) fn with_farm() -> Phone {
        let phone = Phone::new();
        phone.begin(&noon_zone());
        phone
            .run(&["add", "coop", "North", "species=hen,duck"])
            .good();
        phone.run(&["add", "coop", "South", "species=hen"]).good();
        phone.run(&["add", "person", "Ben"]).good();
        phone
    }

    pub(crate) fn begin(&self, zone: &str) {
        let words = ["begin", "--name", "Willow Farm", "--zone", zone];
        let who = ["--person", "Ada", "--device", "Ada phone"];
        self.run(&[&words[..], &who].concat()).good();
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn db(&self) -> PathBuf {
        self.path("farm.db")
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn text_path(&self, name: &str) -> String {
        self.path(name).to_str().expect("a plain path").to_string()
    }

    /// The program, ready to be run with these words.
    pub(crate) fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_pointdown"));
        command
            .args(words)
            .env("POINTDOWN_DB", self.db())
            .env_remove("COLUMNS")
            .stdin(Stdio::null());
        command
    }

    #[track_caller]
    pub(crate) fn run(&self, words: &[&str]) -> Said {
        self.command(words)
            .output()
            .expect("the program runs")
            .into()
    }

    /// One command line, split at spaces.
    #[track_caller]
    pub(crate) fn say(&self, line: &str) -> Said {
        self.run(&line.split(' ').collect::<Vec<_>>())
    }

    /// The JSON of a command line.
    #[track_caller]
    pub(crate) fn ask(&self, line: &str) -> Value {
        self.say(&format!("{line} --json")).json()
    }

    /// Logs, and gives the id.
    #[track_caller]
    pub(crate) fn log(&self, line: &str) -> String {
        let logged = self.ask(&format!("log {line}"));
        logged["id"].as_str().expect("an id").to_string()
    }

    /// Everything that can be seen of the book.
    #[track_caller]
    pub(crate) fn everything(&self) -> (Value, Value) {
        (
            self.ask("list --all"),
            self.ask("range --from 2000-01-01 --to tomorrow"),
        )
    }
}
