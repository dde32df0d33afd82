//! What bad input gets over HTTP: a clear refusal, and nothing changed.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use pointdown_core::record::Id;
use pointdown_core::sync::{Answer, Ask, MAX_BODY, VERSION};
use pointdown_server::{Config, ServeError, serve, store};

use crate::support::{Server, agent, error, memory};

fn empty_ask() -> Vec<u8> {
    Ask {
        v: VERSION,
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

/// Sends bytes as they are and returns everything that comes back until the connection ends.
fn raw(server: &Server, request: &str) -> String {
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    let mut buffer = [0; 4096];
    while !answer.ends_with(b"}") {
        match stream.read(&mut buffer).unwrap() {
            0 => break,
            n => answer.extend_from_slice(&buffer[..n]),
        }
    }
    String::from_utf8(answer).unwrap()
}

#[test]
fn without_the_right_token_nothing_is_to_be_had() {
    let server = Server::start();
    let ours = server.join(None);
    let wrong = "0".repeat(64);
    let cut = &ours.token[..63];
    let ways = [
        "POST /v1/sync",
        "POST /v1/invites",
        "GET /v1/events",
        "GET /v1/devices",
    ];
    for way in ways {
        let (method, path) = way.split_once(' ').unwrap();
        for token in [None, Some(wrong.as_str()), Some(cut), Some("")] {
            let (status, body) = match method {
                "POST" => server.post(path, token, &empty_ask()),
                _ => server.get(path, token),
            };
            assert_eq!((status, error(&body).as_str()), (401, "token"), "{way}");
        }
    }
    let (status, _) = server.delete("/v1/devices/anything", &wrong);
    assert_eq!(status, 401);
    for path in ["/kitchen/sheet", "/kitchen/events"] {
        assert_eq!(server.get(path, None).0, 401);
        assert_eq!(
            server.get(path, Some(&ours.token)).0,
            401,
            "a cookie it is, not a header"
        );
    }
    let (status, _) = server.post("/v1/sync", Some(&ours.token), &empty_ask());
    assert_eq!(status, 200);
}

#[test]
fn bodies_that_are_too_large_are_refused() {
    let server = Server::start();
    let token = server.join(None).token;
    // By its own word, before it is read.
    let said = format!(
        "POST /v1/sync HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
         content-length: {}\r\n\r\n",
        MAX_BODY + 1
    );
    let answer = raw(&server, &said);
    assert!(answer.starts_with("HTTP/1.1 413"), "{answer}");
    assert!(answer.contains("\"error\":\"too_large\""), "{answer}");
    // Without saying so: chunks until the limit is passed.
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    write!(
        stream,
        "POST /v1/sync HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
         transfer-encoding: chunked\r\n\r\n"
    )
    .unwrap();
    let chunk = [b"100000\r\n".as_slice(), &[7; 0x10_0000], b"\r\n"].concat();
    for _ in 0..MAX_BODY / 0x10_0000 + 1 {
        // The server may hang up before everything is sent.
        if stream.write_all(&chunk).is_err() {
            break;
        }
    }
    let mut answer = [0; 12];
    stream.read_exact(&mut answer).unwrap();
    assert_eq!(&answer, b"HTTP/1.1 413");
    // Where only a few words travel, the limit is lower.
    let (status, body) = server.post("/v1/join", None, &vec![b' '; 70_000]);
    assert_eq!((status, error(&body).as_str()), (413, "too_large"));
}

#[test]
fn messages_that_are_cut_short_or_altered_change_nothing() {
    let server = Server::start();
    let ours = server.join(None);
    let ask = empty_ask();
    for body in [&ask[..ask.len() - 1], b"", b"{}", &[0xff; 40]] {
        let (status, body) = server.post("/v1/sync", Some(&ours.token), body);
        assert_eq!((status, error(&body).as_str()), (400, "unreadable"));
    }
    for body in [&b"{"[..], b"", b"[]", b"{\"invite\":7}"] {
        let (status, body) = server.post("/v1/join", None, body);
        assert_eq!((status, error(&body).as_str()), (400, "unreadable"));
    }
    let counter = store::read(&*server.store, ours.farm, |log| log.counter());
    assert_eq!(counter, Ok(0));
    let heard = server.store.devices(ours.farm).unwrap()[0].heard_at;
    assert_eq!(heard, None);
}

#[test]
fn unknown_addresses_and_methods_answer_in_json() {
    let server = Server::start();
    for path in [
        "/v1/nothing",
        "/v2/sync",
        "/kitchen/../secret",
        "/index.html",
    ] {
        let (status, body) = server.get(path, None);
        assert_eq!(
            (status, error(&body).as_str()),
            (404, "not_found"),
            "{path}"
        );
    }
    let (status, body) = server.get("/v1/sync", None);
    assert_eq!((status, error(&body).as_str()), (405, "method"));
    let (status, body) = server.post("/", None, b"");
    assert_eq!((status, error(&body).as_str()), (405, "method"));
}

#[test]
fn every_answer_carries_the_headers_that_keep_browsers_in_bounds() {
    let server = Server::start();
    for path in ["/v1/devices", "/nothing", "/kitchen/screen.js", "/kitchen"] {
        let answer = agent().get(server.url(path)).call().unwrap();
        let header = |name| answer.headers()[name].to_str().unwrap().to_string();
        let policy = header("content-security-policy");
        assert!(
            policy.starts_with("default-src 'self';"),
            "{path}: {policy}"
        );
        assert!(policy.contains("frame-ancestors 'none'"));
        assert!(!policy.contains("unsafe"));
        assert_eq!(header("x-content-type-options"), "nosniff");
        // A form of the screen's pages has to be able to say where it is from.
        let to_whom = if path == "/kitchen" {
            "same-origin"
        } else {
            "no-referrer"
        };
        assert_eq!(header("referrer-policy"), to_whom);
        assert_eq!(header("x-frame-options"), "DENY");
        assert_eq!(header("cross-origin-resource-policy"), "same-origin");
        assert_eq!(header("cross-origin-opener-policy"), "same-origin");
        assert!(header("permissions-policy").contains("camera=()"));
        assert_eq!(header("x-request-id").len(), 16);
        let https_only = answer.headers().get("strict-transport-security");
        assert!(https_only.is_none(), "this is plain HTTP");
        let cache = if path.starts_with("/v1") || ["/nothing", "/kitchen"].contains(&path) {
            "no-store"
        } else {
            "no-cache"
        };
        assert_eq!(header("cache-control"), cache, "{path}");
    }
}

/// Two farms on one server. Whatever A's phone asks for, nothing of B is in the answer.
#[test]
fn one_farm_never_sees_another() {
    let server = Server::start();
    let (a, b) = (server.join(None), server.join(None));
    let of_b = server.store.devices(b.farm).unwrap()[0].id;
    let epoch = server.store.epoch().unwrap();
    let (status, body) = server.post("/v1/sync", Some(&a.token), &empty_ask());
    assert_eq!(status, 200);
    let answer = Answer::decode(&body).unwrap();
    assert_eq!((answer.digest.n, *answer.epoch), (0, epoch));
    let (_, list) = server.get("/v1/devices", Some(&a.token));
    let list = String::from_utf8(list).unwrap();
    assert!(
        !list.contains(&b.farm.to_string()) && !list.contains(&of_b.to_string()),
        "{list}"
    );
    // Shutting out a device of B looks just like one that does not exist.
    let nobody = Id::at(0, [7; 10]);
    let theirs = server.delete(&format!("/v1/devices/{of_b}"), &a.token);
    let nobodys = server.delete(&format!("/v1/devices/{nobody}"), &a.token);
    assert_eq!(theirs, nobodys);
    assert_eq!(theirs.0, 404);
    assert_eq!(server.get("/v1/devices", Some(&b.token)).0, 200, "still in");
    // A's invite leads to A.
    let (status, body) = server.post("/v1/invites", Some(&a.token), b"");
    assert_eq!(status, 201);
    let invite: serde_json::Value = serde_json::from_slice(&body).unwrap();
    let join = serde_json::json!({"invite": invite["code"], "name": "x"});
    let (_, body) = server.post("/v1/join", None, &serde_json::to_vec(&join).unwrap());
    let joined: serde_json::Value = serde_json::from_slice(&body).unwrap();
    assert_eq!(joined["farm"], a.farm.to_string());
}

#[test]
fn a_server_that_is_told_to_stop_finishes_what_is_underway() {
    let mut server = Server::start();
    let token = server.join(None).token;
    // Half a request before the word, the other half after it.
    let body = empty_ask();
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    write!(
        stream,
        "POST /v1/sync HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
         content-length: {}\r\nexpect: 100-continue\r\n\r\n",
        body.len()
    )
    .unwrap();
    // The server asks for the body: it is inside the request now.
    let mut go_on = [0; 25];
    stream.read_exact(&mut go_on).unwrap();
    assert!(
        go_on.starts_with(b"HTTP/1.1 100"),
        "{}",
        String::from_utf8_lossy(&go_on)
    );
    let address = server.address;
    let writer = std::thread::spawn(move || {
        // New connections are refused from the moment that the server stops.
        let began = std::time::Instant::now();
        while TcpStream::connect(address).is_ok() {
            assert!(
                began.elapsed() < Duration::from_secs(10),
                "it goes on listening"
            );
            std::thread::yield_now();
        }
        stream.write_all(&body).unwrap();
        let mut answer = [0; 12];
        stream.read_exact(&mut answer).unwrap();
        answer
    });
    server.stop();
    assert_eq!(&writer.join().unwrap(), b"HTTP/1.1 200");
}

#[test]
fn a_connection_that_says_nothing_does_not_keep_the_server() {
    let config = Config {
        grace: Duration::from_millis(300),
        ..Config::default()
    };
    let mut server = Server::with(memory(), config);
    let mut stream = TcpStream::connect(server.address).unwrap();
    stream
        .write_all(b"POST /v1/sync HTTP/1.1\r\nhost: x\r\n")
        .unwrap();
    let began = std::time::Instant::now();
    server.stop();
    assert!(began.elapsed() < Duration::from_secs(5));
}

#[test]
fn a_request_that_never_ends_is_let_go() {
    let config = Config {
        patience: Duration::from_millis(200),
        ..Config::default()
    };
    let server = Server::with(memory(), config);
    let token = server.join(None).token;
    let answer = raw(
        &server,
        &format!(
            "POST /v1/sync HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
             content-length: 100\r\n\r\nabc"
        ),
    );
    assert!(answer.starts_with("HTTP/1.1 408"), "{answer}");
    assert!(answer.contains("\"error\":\"timeout\""), "{answer}");
}

#[test]
fn plain_http_beyond_this_machine_must_be_asked_for() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let refused = runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind("0.0.0.0:0").await.unwrap();
        serve(
            Config::default(),
            listener,
            memory(),
            std::future::ready(()),
        )
        .await
    });
    assert!(matches!(refused, Err(ServeError::BeyondLoopback(_))));
}
