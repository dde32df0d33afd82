//! The program itself: its commands, how it stops, and what is left when it is killed.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use pointdown_core::farm::{Beginning, Farm, Join, Location, System};
use pointdown_core::record::{Draft, Kind};
use serde_json::json;

const PROGRAM: &str = env!("CARGO_BIN_EXE_pointdown-server");

pub(crate) fn run(data: &Path, arguments: &[&str]) -> Output {
    let (command, rest) = arguments.split_first().unwrap();
    Command::new(PROGRAM)
        .arg(command)
        .arg("--data")
        .arg(data)
        .args(rest)
        .output()
        .unwrap()
}

pub(crate) fn said(output: &Output) -> String {
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout.clone()).unwrap()
}

pub(crate) struct Running {
    child: Child,
    pub(crate) url: String,
}

impl Running {
    /// Starts the program on a port of its own, which it names in its log.
    fn start(data: &Path) -> Running {
        Running::with(data, &[])
    }

    /// The same with more words.
    pub(crate) fn with(data: &Path, more: &[&str]) -> Running {
        let mut child = Command::new(PROGRAM)
            .args(["--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .args(more)
            .env("NO_COLOR", "1")
            .env_remove("RUST_LOG")
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut log = BufReader::new(child.stderr.take().unwrap());
        let mut line = String::new();
        let address = loop {
            line.clear();
            assert_ne!(log.read_line(&mut line).unwrap(), 0, "it ended at once");
            if let Some((_, address)) = line.trim().split_once("serving address=") {
                break address.to_string();
            }
        };
        // Whoever writes into a pipe that nobody reads stops some day.
        std::thread::spawn(move || std::io::copy(&mut log, &mut std::io::sink()));
        let url = format!("http://{address}");
        Running { child, url }
    }

    pub(crate) fn end(&mut self, signal: &str) -> bool {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args([signal, &pid]).status().unwrap();
        assert!(sent.success());
        let began = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.success();
            }
            assert!(began.elapsed() < Duration::from_secs(20), "it does not end");
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) fn begin() -> Farm {
    let fields = json!({"name": "Larkfield", "zone": "Europe/Dublin"});
    let beginning = Beginning {
        farm: fields.as_object().unwrap().clone(),
        person: "Ada".into(),
        device: "Ada’s phone".into(),
    };
    Farm::begin(&Location::Memory, Arc::new(System), beginning).unwrap()
}

pub(crate) fn join(farm: &Farm, url: &str, invite: &str) {
    let join = Join {
        url,
        invite: invite.trim(),
        device: "Ada’s phone",
    };
    farm.join(&join).unwrap();
}

#[test]
fn from_the_first_invite_to_shutting_a_device_out() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let mut server = Running::start(&data);
    // The commands work while the server runs on the same folder.
    let farm = begin();
    let invite = said(&run(&data, &["invite"]));
    assert_eq!(invite.trim().len(), 26);
    join(&farm, &server.url, &invite);
    let listed = said(&run(&data, &["devices"]));
    assert!(listed.contains(&format!("farm {}", farm.id())), "{listed}");
    assert!(
        listed.contains("Ada’s phone") && listed.contains("last synced"),
        "{listed}"
    );
    // A new epoch in the middle of everything: the phone compares, and goes on.
    said(&run(&data, &["new-epoch"]));
    farm.log(Draft::new(Kind::Person).with("name", "Ben"))
        .unwrap();
    farm.sync().unwrap();
    assert!(farm.status().unwrap().agreed);
    let id = farm.id().to_string();
    assert_eq!(
        said(&run(&data, &["invite", "--farm", &id])).trim().len(),
        26
    );
    let nowhere = run(&data, &["invite", "--farm", &"z".repeat(22)]);
    assert!(!nowhere.status.success());
    // Its id is the first word after the farm's line.
    let device = listed
        .lines()
        .nth(1)
        .unwrap()
        .split_whitespace()
        .next()
        .unwrap();
    said(&run(&data, &["revoke", device]));
    let refused = farm.sync().unwrap_err();
    assert!(refused.to_string().contains("shut out"), "{refused}");
    assert!(!run(&data, &["revoke", device]).status.success());
    assert!(server.end("-TERM"), "told to end it ends well");
}

#[test]
fn one_server_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let _first = Running::start(folder.path());
    let second = run(folder.path(), &["serve", "--listen", "127.0.0.1:0"]);
    assert!(!second.status.success());
    let said = String::from_utf8_lossy(&second.stderr);
    assert!(said.contains("another server"), "{said}");
}

#[test]
fn plain_http_to_other_machines_must_be_said_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let refused = run(folder.path(), &["serve", "--listen", "0.0.0.0:0"]);
    assert!(!refused.status.success());
    let said = String::from_utf8_lossy(&refused.stderr);
    assert!(said.contains("plain HTTP"), "{said}");
}

/// What the server answered for survives a kill: real process, real files, `kill -9`.
#[test]
fn what_was_acknowledged_survives_a_kill() {
    let folder = tempfile::tempdir().unwrap();
    let farm = begin();
    let mut server = Running::start(folder.path());
    join(&farm, &server.url, &said(&run(folder.path(), &["invite"])));
    let id = farm.id().to_string();
    for round in 0..3 {
        for n in 0..5 {
            let name = format!("Person {round} {n}");
            farm.log(Draft::new(Kind::Person).with("name", name))
                .unwrap();
        }
        farm.sync().unwrap();
        assert!(!server.end("-KILL"));
        server = Running::start(folder.path());
        let invite = said(&run(folder.path(), &["invite", "--farm", &id]));
        // Joining holds both sides against each other; nothing may have to be sent again.
        let join = Join {
            url: &server.url,
            invite: invite.trim(),
            device: "Ada’s phone",
        };
        let done = farm.join(&join).unwrap();
        assert_eq!(
            (done.sent, done.waiting, done.received),
            (0, 0, 0),
            "{done:?}"
        );
        assert!(farm.status().unwrap().agreed);
    }
}
