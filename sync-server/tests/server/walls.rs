//! Every address of the server, tried with another farm's secret and another farm's ids.

use pointdown_core::sync::Ask;
use pointdown_server::store::{self, Role};
use pointdown_server::{Endpoint, endpoints};

use crate::kitchen_pages::{Came, Kitchen};
use crate::support::{Phone, Server, agent, read};

/// What belongs to a farm and must not be learnt by another.
struct Theirs {
    marks: Vec<String>,
    device: String,
}

/// How an address is asked with A's secret, about what is B's, and what may come back.
enum Try {
    /// There is nothing of a farm in it.
    Open(u16),
    /// A WebSocket: nothing is said before the handshake, and the token is looked at after it.
    Socket,
    /// It speaks about the own farm only.
    Own(u16, Vec<u8>),
    /// A's secret and B's device: the answer is the one for a device that does not exist.
    Device(Vec<u8>),
    /// A page of the screen: A's own farm with A's cookie, and nothing without one.
    Page,
    /// A form of the screen, with A's key; `ID` is B's device, and the answer is the one for a
    /// device that does not exist.
    Form(&'static str, u16),
}

/// A new address that is not named here makes the test fail.
fn how(endpoint: &Endpoint) -> Try {
    let ask = empty_ask();
    match (endpoint.method.as_str(), endpoint.path.as_str()) {
        // It leads on to the page that asks for an invite.
        ("GET", "/") => Try::Open(200),
        ("GET", "/kitchen/screen.css" | "/kitchen/pages.css") => Try::Open(200),
        ("GET", "/kitchen/screen.js" | "/kitchen/mark.svg") => Try::Open(200),
        ("GET", "/kitchen" | "/kitchen/review" | "/kitchen/trends" | "/kitchen/people") => {
            Try::Page
        }
        ("POST", "/kitchen/choose") => Try::Form("line=twice/x&tag=x&choice=0", 303),
        ("POST", "/kitchen/undo") => Try::Form("made=ID", 303),
        ("POST", "/kitchen/person") => Try::Form("person=ID", 303),
        ("POST", "/kitchen/role") => Try::Form("device=ID&role=owner", 303),
        ("POST", "/kitchen/out") => Try::Form("device=ID", 303),
        ("POST", "/kitchen/invite") => Try::Form("role=helper", 200),
        ("GET", "/health/live" | "/health/ready" | "/v1/openapi.json") => Try::Open(200),
        // From this machine; figures name no farm.
        ("GET", "/metrics") => Try::Open(200),
        ("POST", "/v1/join" | "/kitchen/join" | "/kitchen/in") => Try::Open(403),
        ("GET", "/v1/automerge") => Try::Socket,
        ("POST", "/v1/sync") => Try::Own(200, ask),
        ("GET", "/v1/events" | "/kitchen/events") => Try::Own(200, Vec::new()),
        ("GET", "/v1/devices" | "/v1/audit" | "/kitchen/sheet" | "/kitchen/chart") => {
            Try::Own(200, Vec::new())
        }
        ("POST", "/v1/token" | "/v1/invites") => Try::Own(201, Vec::new()),
        ("POST", "/kitchen/leave") => Try::Own(204, Vec::new()),
        ("DELETE", "/v1/devices/{id}") => Try::Device(Vec::new()),
        ("PUT", "/v1/devices/{id}/role") => Try::Device(br#"{"role":"reader"}"#.to_vec()),
        (method, path) => panic!("{method} {path} is served and nobody thought of its walls"),
    }
}

fn empty_ask() -> Vec<u8> {
    Ask {
        v: 1,
        epoch: None,
        cursor: 0,
        now: 0,
        actors: Vec::new(),
        vouched: Vec::new(),
        pack: Default::default(),
        check: Some(Vec::new()),
        fetch: Vec::new(),
    }
    .encode()
}

/// Sends a request with both secrets that A has; the answer's text, an event stream's first event.
fn send(
    server: &Server,
    endpoint: &Endpoint,
    path: &str,
    (token, cookie): (&str, &str),
    body: &[u8],
) -> (u16, String) {
    let url = server.url(path);
    let mut request = ureq::http::Request::builder()
        .method(endpoint.method.as_str())
        .uri(url)
        .header("content-type", "application/json")
        .header("pointdown-screen", "1");
    match endpoint.secret.as_deref() {
        Some("screen") => request = request.header("cookie", cookie),
        _ => request = request.header("authorization", format!("Bearer {token}")),
    }
    let answer = if body.is_empty() {
        agent().run(request.body(()).unwrap()).unwrap()
    } else {
        agent().run(request.body(body).unwrap()).unwrap()
    };
    let kind = answer.headers().get("content-type");
    if kind.is_some_and(|kind| kind == "text/event-stream") {
        use std::io::{BufRead as _, BufReader};
        let status = answer.status().as_u16();
        let mut lines = BufReader::new(answer.into_body().into_reader()).lines();
        let first: Vec<String> = lines.by_ref().take(2).map(Result::unwrap).collect();
        return (status, first.join("\n"));
    }
    let (status, body) = read(answer);
    (status, String::from_utf8_lossy(&body).into_owned())
}

fn screen(server: &Server, farm: pointdown_core::record::Id) -> String {
    let invite = server.invite_as(Some(farm), Role::Reader);
    let answer = agent()
        .post(server.url("/kitchen/join"))
        .header("pointdown-screen", "1")
        .send_json(serde_json::json!({ "invite": invite }))
        .unwrap();
    let set = answer.headers()["set-cookie"].to_str().unwrap();
    set.split(';').next().unwrap().to_string()
}

#[test]
fn every_address_is_walled_off() {
    let all = endpoints();
    assert!(all.len() >= 20, "{all:#?}");
    for endpoint in &all {
        // Each with a server of its own: some of them shut A's devices out.
        let server = Server::start();
        let (a, b) = (server.join(None), server.join(None));
        let cookie = screen(&server, a.farm);
        screen(&server, b.farm);
        let of_b = server.store.devices(b.farm).unwrap();
        let mut phone = Phone::new(b.farm, of_b[0].id, pointdown_core::record::Actor([9; 16]));
        phone.log("2026-11", 40);
        assert_eq!(server.post("/v1/sync", Some(&b.token), &phone.ask()).0, 200);
        let theirs = Theirs {
            marks: vec![
                b.farm.to_string(),
                of_b[0].id.to_string(),
                of_b[1].id.to_string(),
            ],
            device: of_b[0].id.to_string(),
        };
        let state = || {
            let mut devices = server.store.devices(b.farm).unwrap();
            devices.iter_mut().for_each(|d| d.heard_at = None);
            let audit = server.store.audit(b.farm, None, 1000).unwrap();
            let log = store::read(&*server.store, b.farm, |log| log.after(0, 1 << 20)).unwrap();
            (devices, audit, log)
        };
        let before = state();
        let secrets = (a.token.as_str(), cookie.as_str());
        let name = format!("{} {}", endpoint.method, endpoint.path);
        let said = match how(endpoint) {
            Try::Open(status) => {
                assert!(
                    matches!(endpoint.secret.as_deref(), None | Some("metrics")),
                    "{name}"
                );
                let body = format!(
                    r#"{{"invite":"aaaaaaaaaaaaaaaaaaaaaaaaaa","name":"x","farm":"{}"}}"#,
                    b.farm
                );
                let body = if endpoint.method == "GET" { "" } else { &body };
                let said = send(&server, endpoint, &endpoint.path, secrets, body.as_bytes());
                assert_eq!(said.0, status, "{name}: {}", said.1);
                said.1
            }
            Try::Socket => {
                assert_eq!(endpoint.secret.as_deref(), Some("token"), "{name}");
                let said = send(&server, endpoint, &endpoint.path, secrets, b"");
                assert_eq!(said.0, 400, "{name}: {}", said.1);
                said.1
            }
            Try::Own(status, body) => {
                let nobody = (
                    "0".repeat(64),
                    format!("pointdown_screen={}", "0".repeat(64)),
                );
                let nobody = (nobody.0.as_str(), nobody.1.as_str());
                let out = send(&server, endpoint, &endpoint.path, nobody, &body);
                assert_eq!(out.0, 401, "{name}: {}", out.1);
                let said = send(&server, endpoint, &endpoint.path, secrets, &body);
                assert_eq!(said.0, status, "{name}: {}", said.1);
                if said.1.starts_with("event:") {
                    assert!(
                        said.1.contains("{\"cursor\":0}"),
                        "A has no change: {}",
                        said.1
                    );
                }
                said.1
            }
            Try::Device(body) => {
                let nobodys = pointdown_core::record::Id::at(0, [7; 10]).to_string();
                let path = |id: &str| endpoint.path.replace("{id}", id);
                let out = ("0".repeat(64), String::new());
                let out = (out.0.as_str(), out.1.as_str());
                let out = send(&server, endpoint, &path(&theirs.device), out, &body);
                assert_eq!(out.0, 401, "{name}: {}", out.1);
                let real = send(&server, endpoint, &path(&theirs.device), secrets, &body);
                let none = send(&server, endpoint, &path(&nobodys), secrets, &body);
                assert_eq!(real, none, "{name}: B's device looks like none at all");
                assert_eq!(real.0, 404, "{name}");
                real.1
            }
            Try::Page => {
                let door = Came::get(&server, &endpoint.path, "");
                assert!(door.body.contains("/kitchen/in"), "{name}: {}", door.body);
                let own = Came::get(&server, &endpoint.path, &cookie);
                assert_eq!(own.status, 200, "{name}");
                assert!(!own.body.contains("/kitchen/in\""), "{name}");
                own.body
            }
            Try::Form(fields, status) => {
                assert_eq!(endpoint.secret.as_deref(), Some("screen"), "{name}");
                let invite = server.invite_as(Some(a.farm), Role::Owner);
                let kitchen = Kitchen::enter(&server, &invite, "decide");
                let with = |id: &str, key: &str| format!("key={key}&{}", fields.replace("ID", id));
                let ask =
                    |cookie: &str, body: &str| Came::post(&server, &endpoint.path, cookie, body);
                let theirs = with(&theirs.device, &kitchen.key);
                let nobody = format!("pointdown_screen={}", "0".repeat(64));
                assert_eq!(ask(&nobody, &theirs).status, 401, "{name}");
                let forged = ask(&kitchen.cookie, &with("x", &"0".repeat(64)));
                assert_ne!(forged.status, status, "{name}");
                let real = ask(&kitchen.cookie, &theirs);
                assert_eq!(real.status, status, "{name}: {real:?}");
                let nobodys = pointdown_core::record::Id::at(0, [7; 10]).to_string();
                let none = ask(&kitchen.cookie, &with(&nobodys, &kitchen.key));
                assert_eq!((real.status, &real.to), (none.status, &none.to), "{name}");
                format!("{} {}", real.to, real.body)
            }
        };
        for mark in &theirs.marks {
            assert!(!said.contains(mark.as_str()), "{name} tells {mark}: {said}");
        }
        assert!(before == state(), "{name} touched B");
    }
}

/// The list above is the router's own, and nothing is served past it.
#[test]
fn nothing_is_served_that_is_not_described() {
    let server = Server::start();
    let all = endpoints();
    for endpoint in &all {
        for method in ["GET", "POST", "PUT", "DELETE", "PATCH"] {
            let path = endpoint.path.replace("{id}", "x");
            let request = ureq::http::Request::builder()
                .method(method)
                .uri(server.url(&path))
                .body(())
                .unwrap();
            let status = agent().run(request).unwrap().status().as_u16();
            let described = all
                .iter()
                .any(|e| e.path == endpoint.path && e.method == method);
            assert_eq!(status != 405, described, "{method} {path}: {status}");
            assert_ne!(status, 404, "{method} {path}");
        }
    }
    let sources = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut looked = 0;
    let mut plain = Vec::new();
    let mut folders = vec![sources];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                looked += 1;
                let text = std::fs::read_to_string(&path).unwrap();
                let n = text.matches(".route(").count() + text.matches(".route_service(").count();
                plain.extend((0..n).map(|_| path.clone()));
            }
        }
    }
    assert!(looked > 20);
    // Only the page's files, which are served from the table that the list is made from, and the
    // phone app, which is the same for everyone.
    plain.sort();
    plain.dedup();
    assert!(
        plain.len() == 2
            && plain[0].ends_with("kitchen/mod.rs")
            && plain[1].ends_with("src/phone.rs"),
        "{plain:?}"
    );
}

#[test]
fn the_description_is_served_and_true_to_what_travels() {
    let server = Server::start();
    let (status, body) = server.get("/v1/openapi.json", None);
    assert_eq!(status, 200);
    let openapi: serde_json::Value = serde_json::from_slice(&body).unwrap();
    assert!(openapi["openapi"].as_str().unwrap().starts_with("3."));
    let paths = openapi["paths"].as_object().unwrap();
    for endpoint in endpoints() {
        let page = endpoint.path.contains("/kitchen/") && endpoint.path.contains('.');
        let operation = &paths
            .get(&endpoint.path)
            .map(|p| &p[endpoint.method.to_lowercase()]);
        assert_eq!(operation.is_none(), page, "{endpoint:?}");
        if let Some(operation) = operation {
            assert!(operation["summary"].is_string(), "{endpoint:?}");
            let refusals = operation["responses"].as_object().unwrap();
            // A WebSocket is refused by the code with which it is closed.
            let by_status = endpoint.secret.is_some() && !refusals.contains_key("101");
            assert_eq!(refusals.contains_key("401"), by_status, "{endpoint:?}");
        }
    }
    // Types that the core owns are described by hand here.
    use pointdown_core::sync::{JoinAnswer, JoinAsk, Refused};
    let farm = crate::support::id();
    let ask = JoinAsk {
        invite: "x".into(),
        farm: Some(farm),
        name: "x".into(),
        actors: vec!["x".into()],
    };
    let answer = JoinAnswer {
        farm,
        token: "x".into(),
    };
    let refused = Refused {
        error: "x".into(),
        message: "x".into(),
    };
    for (name, real) in [
        ("JoinAsk", serde_json::to_value(ask).unwrap()),
        ("JoinAnswer", serde_json::to_value(answer).unwrap()),
        ("Refused", serde_json::to_value(refused).unwrap()),
    ] {
        let described = openapi["components"]["schemas"][name]["properties"]
            .as_object()
            .unwrap();
        let keys: Vec<_> = real.as_object().unwrap().keys().collect();
        assert_eq!(described.keys().collect::<Vec<_>>(), keys, "{name}");
    }
}
