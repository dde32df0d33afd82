use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use crate::phone::Phone;

/// The real server, stopped at the end.
struct Server {
    running: Child,
    url: String,
    code: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        drop(self.running.kill());
        drop(self.running.wait());
    }
}

/// The server's program, where the workspace was built with it.
fn program() -> Option<PathBuf> {
    let name = format!("pointdown-server{}", std::env::consts::EXE_SUFFIX);
    let path = Path::new(env!("CARGO_BIN_EXE_pointdown")).with_file_name(name);
    path.is_file().then_some(path)
}

fn start(data: &Path) -> Option<Server> {
    let program = program()?;
    let invite = Command::new(&program)
        .args(["invite", "--data"])
        .arg(data)
        .output()
        .ok()?;
    let words = String::from_utf8(invite.stdout).ok()?;
    let code = words.split_whitespace().next()?.to_string();
    let mut running = Command::new(&program)
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(data)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .ok()?;
    // It says where it listens, in one of the two, before it serves; its end closes both.
    let (heard, lines) = std::sync::mpsc::channel();
    let out: Box<dyn std::io::Read + Send> = Box::new(running.stdout.take()?);
    let err: Box<dyn std::io::Read + Send> = Box::new(running.stderr.take()?);
    for stream in [out, err] {
        let heard = heard.clone();
        std::thread::spawn(move || {
            // Read to the end, so that the server never waits for a reader.
            for line in BufReader::new(stream).lines().map_while(Result::ok) {
                if let Some(address) = line.split("address=").nth(1) {
                    drop(heard.send(address.trim().to_string()));
                }
            }
        });
    }
    drop(heard);
    let address = lines.recv_timeout(std::time::Duration::from_secs(20)).ok();
    let mut server = Server {
        running,
        url: String::new(),
        code,
    };
    server.url = format!("http://{}", address?);
    Some(server)
}

#[test]
fn a_family_joins_logs_apart_and_sees_one_set_of_totals() {
    let ada = Phone::with_farm();
    let Some(server) = start(&ada.path("data")) else {
        eprintln!(
            "not checked against the server: pointdown-server is not built beside this program"
        );
        return;
    };
    let (url, code) = (&server.url, &server.code);
    let wrong = "a".repeat(code.len());
    assert_eq!(
        ada.say(&format!("join {url} {wrong} --json")).failed(1)["error"],
        "refused"
    );
    ada.log("gather coop=North species=hen count=12");
    let joined = ada.ask(&format!("join {url} {code}"));
    assert_eq!(joined["status"]["agreed"], true);
    assert_eq!(joined["status"]["waiting"], 0);

    let invite = ada.ask("invite");
    let code = invite["code"].as_str().expect("a code");
    let ben = Phone::new();
    let joined = ben.ask(&format!("join {url} {code} --person ben --device tablet"));
    assert_eq!(
        joined["person"]["name"], "Ben",
        "the person that is known already"
    );
    assert_eq!(joined["status"]["refused"], serde_json::json!([]));
    assert_eq!(ben.ask("today"), ada.ask("today"));
    let used = Phone::new();
    let line = format!("join {url} {code} --person Cleo --device laptop --json");
    let refused = used.say(&line).failed(1);
    assert_eq!(refused["error"], "refused");
    let message = refused["message"].as_str().unwrap_or_default();
    assert!(message.contains("was used already") && message.contains("ask for a new one"));
    assert!(!used.db().exists());

    // Apart: one corrects a count up, the other down, and both gather.
    let id = ada.ask("list gather")[0]["id"]
        .as_str()
        .expect("an id")
        .to_string();
    ada.ask(&format!("amend {id} count=13"));
    ben.ask(&format!("amend {id} count=14"));
    ada.log("gather coop=South species=hen count=5");
    ben.log("gather coop=north species=duck count=3");
    assert_eq!(ben.ask("sync")["sent"], 2);
    // His device record, his correction, his gather.
    let heard = ada.ask("sync");
    assert_eq!((&heard["sent"], &heard["received"]), (&2.into(), &3.into()));
    assert_eq!(ben.ask("sync")["received"], 2);
    assert_eq!(
        ada.ask("range --from yesterday"),
        ben.ask("range --from yesterday")
    );
    assert_eq!(ada.ask("today")["gathered"]["by_species"]["duck"], 3);
    for phone in [&ada, &ben] {
        assert!(
            phone
                .say(&format!("show {id}"))
                .good()
                .contains("Disagreement about count")
        );
        assert!(phone.say("list").good().contains("[disagreement]"));
        let status = phone.ask("status")["status"].clone();
        assert_eq!(
            (&status["agreed"], &status["waiting"]),
            (&true.into(), &0.into())
        );
    }
    ada.ask(&format!("amend {id} count=14"));
    assert!(!ada.say("list").good().contains("[disagreement]"));

    drop(server);
    assert_eq!(ada.say("sync --json").failed(5)["error"], "network");
    assert_eq!(ada.ask("status")["status"]["waiting"], 1);
}
