//! The open door, with the stock client from npm as the foreign program.

use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Mutex, OnceLock};
use std::time::Duration;

use pointdown_core::farm::{Env as _, Farm, System};
use pointdown_core::record::{DocName, Id};
use pointdown_server::Config;
use serde_json::{Value, json};

use crate::kitchen::{family, gather};
use crate::support::{Server, memory, random};

/// The folder where the client is installed, from the lock file beside it; nothing, and loudly so,
/// where it cannot be.
fn installed() -> Option<&'static Path> {
    static FOLDER: OnceLock<Option<PathBuf>> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| match install() {
        Ok(folder) => Some(folder),
        Err(why) => {
            // Past the capture of the test harness.
            let _ = writeln!(
                io::stderr(),
                "\nSKIPPED: the open door was not tried: {why}\n"
            );
            None
        }
    });
    folder.as_deref()
}

fn install() -> Result<PathBuf, String> {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/open_door");
    let to = Path::new(env!("CARGO_TARGET_TMPDIR")).join("open_door");
    std::fs::create_dir_all(&to).map_err(|e| e.to_string())?;
    let read = |path: PathBuf| std::fs::read(path).ok();
    let lock = "package-lock.json";
    let fresh = read(to.join("installed")) == read(from.join(lock));
    for file in ["client.mjs", "package.json", lock] {
        std::fs::copy(from.join(file), to.join(file)).map_err(|e| e.to_string())?;
    }
    if !fresh {
        // Not `ci`: it insists on optional binaries for every system that there is.
        let words = [
            "install",
            "--omit=optional",
            "--ignore-scripts",
            "--no-audit",
            "--no-fund",
        ];
        let out = Command::new("npm").args(words).current_dir(&to).output();
        let out = out.map_err(|e| format!("npm: {e}"))?;
        if !out.status.success() {
            return Err(format!(
                "npm install: {}",
                String::from_utf8_lossy(&out.stderr)
            ));
        }
        std::fs::copy(from.join(lock), to.join("installed")).map_err(|e| e.to_string())?;
    }
    Ok(to)
}

struct Program {
    child: Child,
    tell: ChildStdin,
    said: Mutex<Receiver<Value>>,
}

impl Program {
    fn start(server: &Server, token: &str) -> Option<Program> {
        let folder = installed()?;
        let url = format!("ws://{}/v1/automerge?token={token}", server.address);
        let mut child = Command::new("node")
            .args(["client.mjs", &url])
            .current_dir(folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let (say, said) = channel();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let _ = say.send(serde_json::from_str(&line).unwrap_or(Value::String(line)));
            }
        });
        let tell = child.stdin.take().unwrap();
        Some(Program {
            child,
            tell,
            said: Mutex::new(said),
        })
    }

    fn tell(&mut self, what: Value) {
        writeln!(self.tell, "{what}").unwrap();
    }

    /// The next thing of this kind that it says.
    fn hear(&self, kind: &str) -> Value {
        loop {
            let said = self
                .said
                .lock()
                .unwrap()
                .recv_timeout(Duration::from_secs(40));
            let said = said.unwrap_or_else(|e| panic!("waiting for {kind:?}: {e}"));
            if let Some(value) = said.get(kind) {
                return value.clone();
            }
        }
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The address of this month's document, as automerge-repo writes it.
fn month(farm: Id) -> String {
    let id = DocName::month_of(System.now()).id(farm);
    format!(
        "automerge:{}",
        bs58::encode(id.bytes()).with_check().into_string()
    )
}

/// A server, a phone with one gather on it, and a token of the same farm for a program.
fn scene(writes: bool) -> (Server, Farm, String) {
    let config = Config {
        automerge_writes: writes,
        ..Config::default()
    };
    let server = Server::with(memory(), config);
    let phone = family(&server);
    gather(&phone, "Barn", "hen", 12);
    phone.sync().unwrap();
    let token = server.join(Some(phone.id())).token;
    (server, phone, token)
}

fn eggs(farm: &Farm) -> i64 {
    let today = farm.today().unwrap();
    farm.sheet(today, today).unwrap().gathered.eggs
}

#[test]
fn a_program_finds_a_month_and_sees_a_gather_live() {
    let (server, phone, token) = scene(false);
    let Some(mut program) = Program::start(&server, &token) else {
        return;
    };
    program.tell(json!({"find": month(phone.id())}));
    assert_eq!(program.hear("found"), 1);
    gather(&phone, "Pond", "duck", 5);
    phone.sync().unwrap();
    assert_eq!(program.hear("changed"), 2);
    // Another farm's month, and one that is nobody's.
    let other = family(&server);
    gather(&other, "Barn", "hen", 3);
    other.sync().unwrap();
    for farm in [other.id(), Id::at(0, random())] {
        program.tell(json!({"find": month(farm)}));
        let missing = program.hear("missing");
        assert!(
            missing.as_str().unwrap().contains("unavailable"),
            "{missing}"
        );
    }
    // What it writes stays with it, and it hears so.
    let url = month(phone.id());
    let id = Id::at(System.now().ms(), random()).to_string();
    program.tell(json!({"copy": url, "as": id}));
    let refused = program.hear("error");
    assert!(refused.as_str().unwrap().contains("only read"), "{refused}");
    phone.sync().unwrap();
    assert_eq!(eggs(&phone), 17);
    // Shut out, it hears so at once.
    let (_, list) = server.get("/v1/devices", Some(&token));
    let list: Vec<Value> = serde_json::from_slice(&list).unwrap();
    let me = list.iter().find(|device| device["me"] == true).unwrap();
    let path = format!("/v1/devices/{}", me["id"].as_str().unwrap());
    assert_eq!(server.delete(&path, &token).0, 204);
    let refused = program.hear("error");
    assert!(refused.as_str().unwrap().contains("shut out"), "{refused}");
}

#[test]
fn where_it_may_write_phones_get_a_record_or_a_name_for_what_is_none() {
    let (server, phone, token) = scene(true);
    let Some(mut program) = Program::start(&server, &token) else {
        return;
    };
    let url = month(phone.id());
    program.tell(json!({"find": url}));
    assert_eq!(program.hear("found"), 1);
    let mut stream = crate::events::Stream::open(
        &server,
        "/v1/events",
        &format!("authorization: Bearer {token}"),
    );
    let before = stream.cursor().unwrap();
    let id = Id::at(System.now().ms(), random());
    program.tell(json!({"copy": url, "as": id.to_string()}));
    assert_eq!(stream.cursor(), Some(before + 1));
    phone.sync().unwrap();
    assert_eq!(eggs(&phone), 24, "twelve more, as the program wrote");
    assert!(phone.strays().unwrap().is_empty());
    program.tell(json!({"scribble": url}));
    assert_eq!(stream.cursor(), Some(before + 2));
    phone.sync().unwrap();
    assert_eq!(eggs(&phone), 24);
    let strays = phone.strays().unwrap();
    assert_eq!(strays.len(), 1, "{strays:?}");
    assert!(format!("{:?}", strays[0]).contains("title"), "{strays:?}");
    assert!(phone.status().unwrap().agreed);
}

#[test]
fn a_wrong_token_is_told_so_and_nothing_else() {
    let (server, phone, _) = scene(false);
    let Some(mut program) = Program::start(&server, &"0".repeat(64)) else {
        return;
    };
    let refused = program.hear("error");
    assert!(
        refused.as_str().unwrap().contains("not joined"),
        "{refused}"
    );
    program.tell(json!({"find": month(phone.id())}));
    program.hear("missing");
}
