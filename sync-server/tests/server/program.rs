//! The program itself: its commands, how it stops, and what is left when it is killed.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Arc, Mutex};
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
    /// Everything that it wrote into its log so far.
    log: Arc<Mutex<String>>,
}

impl Running {
    /// Starts the program on a port of its own, which it names in its log.
    fn start(data: &Path) -> Running {
        Running::with_log(data, &[], "info")
    }

    /// The same with more words.
    pub(crate) fn with(data: &Path, more: &[&str]) -> Running {
        Running::with_log(data, more, "info")
    }

    fn with_log(data: &Path, more: &[&str], log: &str) -> Running {
        let mut command = Command::new(PROGRAM);
        command
            .args(["--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .args(more);
        let tls = more.iter().any(|m| m.starts_with("--tls"));
        Running::from(command.env("RUST_LOG", log), tls)
    }

    /// On a file system of this size, which only the program itself sees.
    #[cfg(target_os = "linux")]
    pub(crate) fn in_a_small_space(data: &Path, size: &str) -> Running {
        // The invite has to be made in there too: SQLite resolves paths by itself.
        let script = "mount -t tmpfs -o size=$1 tmpfs $2 && $3 invite --data $2 > $2.invite \
                      && exec $3 --listen 127.0.0.1:0 --data $2";
        let mut command = Command::new("unshare");
        command
            .args(["-rm", "sh", "-c", script, "sh", size])
            .arg(data)
            .arg(PROGRAM);
        Running::from(&mut command, false)
    }

    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    pub(crate) fn at(&self, path: &str) -> String {
        format!("{}{path}", self.url)
    }

    fn from(command: &mut Command, tls: bool) -> Running {
        let mut child = command
            .env("NO_COLOR", "1")
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
        let all = Arc::new(Mutex::new(line));
        let kept = all.clone();
        std::thread::spawn(move || {
            for line in log.lines().map_while(Result::ok) {
                let mut all = all.lock().unwrap();
                all.push_str(&line);
                all.push('\n');
            }
        });
        let scheme = if tls { "https" } else { "http" };
        let url = format!("{scheme}://{address}");
        Running {
            child,
            url,
            log: kept,
        }
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

/// Not a code, not a token, at the most talkative level, whatever goes well or wrong.
#[test]
fn no_secret_ends_in_the_log() {
    let folder = tempfile::tempdir().unwrap();
    let mut server = Running::with_log(folder.path(), &[], "trace");
    let invite = said(&run(folder.path(), &["invite"]));
    let unused = said(&run(folder.path(), &["invite"]));
    let agent = crate::support::agent();
    let post = |path: &str, token: &str, body: serde_json::Value| {
        let request = agent
            .post(format!("{}{path}", server.url))
            .header("authorization", format!("Bearer {token}"))
            .header("cookie", format!("pointdown_screen={token}"));
        let (status, body) = crate::support::read(request.send_json(body).unwrap());
        let json: serde_json::Value = serde_json::from_slice(&body).unwrap_or_default();
        (status, json)
    };
    let (status, joined) = post(
        "/v1/join",
        "",
        json!({"invite": invite.trim(), "name": "A"}),
    );
    assert_eq!(status, 200);
    let token = joined["token"].as_str().unwrap().to_string();
    let wrong = "5e".repeat(32);
    assert_eq!(post("/v1/sync", &wrong, json!({})).0, 401);
    assert_eq!(post("/v1/sync", &token, json!({})).0, 400);
    assert_eq!(
        post(
            "/v1/join",
            &wrong,
            json!({"invite": invite.trim(), "name": "A"})
        )
        .0,
        410
    );
    let (status, fresh) = post("/v1/token", &token, json!({}));
    assert_eq!(status, 201);
    let fresh = fresh["token"].as_str().unwrap().to_string();
    let (status, made) = post("/v1/invites", &fresh, json!({"role": "reader"}));
    assert_eq!(status, 201);
    let made = made["code"].as_str().unwrap().to_string();
    let path = format!("/nothing?token={wrong}");
    assert_eq!(post(&path, &fresh, json!({})).0, 404);
    assert!(server.end("-TERM"));
    let log = server.log.lock().unwrap().clone();
    assert!(
        log.contains("request{id=") && log.contains("a device joined"),
        "{log}"
    );
    assert!(log.lines().count() > 8, "{log}");
    for secret in [invite.trim(), unused.trim(), &token, &fresh, &made, &wrong] {
        assert!(!log.to_lowercase().contains(secret), "{secret} in {log}");
    }
}

#[test]
fn the_log_can_be_json_with_the_id_that_the_answer_carries() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = Command::new(PROGRAM)
        .args(["--listen", "127.0.0.1:0", "--log", "json", "--data"])
        .arg(folder.path())
        .env("RUST_LOG", "info")
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
    let mut next =
        || -> serde_json::Value { serde_json::from_str(&lines.next().unwrap().unwrap()).unwrap() };
    let serving = next();
    let address = serving["fields"]["address"].as_str().unwrap();
    let answer = crate::support::agent()
        .get(format!("http://{address}/health/live"))
        .call();
    let answer = answer.unwrap();
    let id = answer.headers()["x-request-id"].to_str().unwrap();
    let line = next();
    assert_eq!(line["span"]["id"], id);
    assert_eq!(line["fields"]["path"], "/health/live");
    assert_eq!(line["fields"]["status"], 200);
    child.kill().unwrap();
    child.wait().unwrap();
}

#[test]
fn a_link_leads_a_phone_to_a_server_that_made_its_own_certificate() {
    let folder = tempfile::tempdir().unwrap();
    let server = Running::with(
        folder.path(),
        &["--tls", "own", "--tls-name", "eggs.example"],
    );
    let link = said(&run(folder.path(), &["invite", "--url", &server.url]));
    assert!(
        link.contains("#invite=") && link.contains("&pin="),
        "{link}"
    );
    let farm = begin();
    join(&farm, link.trim(), "");
    farm.sync().unwrap();
    assert!(farm.status().unwrap().agreed);
    let listed = said(&run(folder.path(), &["devices"]));
    assert!(listed.contains("owner"), "{listed}");
    let audit = said(&run(folder.path(), &["audit"]));
    assert!(
        audit.contains("joined") && audit.contains("as owner by whoever runs"),
        "{audit}"
    );
}

#[cfg(unix)]
#[test]
fn sighup_takes_up_a_newer_certificate() {
    let folder = tempfile::tempdir().unwrap();
    let files = crate::tls::Files::new(folder.path());
    files.put();
    let (cert, key) = (files.cert.to_str().unwrap(), files.key.to_str().unwrap());
    let data = folder.path().join("data");
    let server = Running::with_log(&data, &["--tls-cert", cert, "--tls-key", key], "info");
    // The next look at the files is a minute away.
    let pin = files.put();
    let pid = server.child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-HUP", &pid])
            .status()
            .unwrap()
            .success()
    );
    let began = Instant::now();
    loop {
        let invite = said(&run(&data, &["invite"]));
        let link = pointdown_core::sync::InviteLink {
            url: server.url.clone(),
            code: invite.trim().into(),
            pin: Some(pin),
        };
        let joining = Join {
            url: &link.to_string(),
            invite: "",
            device: "Ada’s phone",
        };
        if begin().join(&joining).is_ok() {
            break;
        }
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "it is not taken up"
        );
    }
}

#[test]
fn metrics_are_for_this_machine_or_whoever_has_the_token() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("token");
    std::fs::write(&file, "short").unwrap();
    let flags = ["serve", "--metrics-token-file", file.to_str().unwrap()];
    assert!(!run(folder.path(), &flags).status.success());
    let token = "a-long-word-that-nobody-guesses";
    std::fs::write(&file, format!("{token}\n")).unwrap();
    let server = Running::with(
        folder.path(),
        &["--metrics-token-file", file.to_str().unwrap()],
    );
    let agent = crate::support::agent();
    let ask = |headers: &[(&str, &str)]| {
        let mut request = agent.get(format!("{}/metrics", server.url));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let (status, body) = crate::support::read(request.call().unwrap());
        (status, String::from_utf8(body).unwrap())
    };
    assert_eq!(ask(&[]).0, 200, "from this machine");
    let (_, text) = ask(&[]);
    assert!(text.ends_with("# EOF\n"), "OpenMetrics ends so: {text}");
    for line in [
        "# TYPE pointdown_requests counter",
        "pointdown_request_seconds_bucket",
        "pointdown_changes_taken_total 0",
        "pointdown_event_streams 0",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
    // A proxy passed it on: its client is somewhere else.
    let passed_on = ("x-forwarded-for", "192.0.2.1");
    assert_eq!(ask(&[passed_on]).0, 401);
    assert_eq!(ask(&[passed_on, ("authorization", "Bearer wrong")]).0, 401);
    let right = format!("Bearer {token}");
    let (status, text) = ask(&[passed_on, ("authorization", &right)]);
    assert_eq!(status, 200);
    let counted = r#"pointdown_requests_total{method="GET",path="/metrics",status="401"} 2"#;
    assert!(text.contains(counted), "{text}");
}
