//! One device or address does not take the server from the others.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::num::NonZeroU32;
use std::time::{Duration, Instant};

use pointdown_core::record::Actor;
use pointdown_core::sync::phone::{State, Unsent};
use pointdown_server::{Config, Limits};
use serde_json::json;

use crate::events::Stream;
use crate::support::{NOW, Phone, Server, agent, error, memory, read};

fn with(limits: Limits) -> Server {
    let config = Config {
        limits,
        ..Config::default()
    };
    Server::with(memory(), config)
}

fn connect(server: &Server) -> TcpStream {
    let stream = TcpStream::connect(server.address).unwrap();
    let most = Some(Duration::from_secs(10));
    stream.set_read_timeout(most).unwrap();
    stream
}

#[test]
fn invites_cannot_be_guessed_without_end() {
    let server = with(Limits {
        refused_joins: NonZeroU32::new(3).unwrap(),
        ..Limits::default()
    });
    let join = |code: &str| {
        let ask = json!({"invite": code, "name": "x"}).to_string();
        server.post("/v1/join", None, ask.as_bytes())
    };
    let good = server.invite(None);
    let other = server.invite(None);
    assert_eq!(join(&"a".repeat(26)).0, 403);
    assert_eq!(join(&good).0, 200);
    assert_eq!(join(&good).0, 410, "used before: that counts too");
    assert_eq!(join("abc").0, 403);
    let (status, body) = join(&other);
    assert_eq!((status, error(&body).as_str()), (429, "too_many"));
    // A screen that tries is from the same address.
    let answer = agent()
        .post(server.url("/kitchen/join"))
        .header("pointdown-screen", "1")
        .send_json(json!({"invite": other}))
        .unwrap();
    assert_eq!(
        answer.headers()["retry-after"].to_str().unwrap().len(),
        3,
        "some 600 s"
    );
    assert_eq!(read(answer).0, 429);
}

#[test]
fn a_device_that_asks_without_end_is_slowed_and_others_are_not() {
    let server = with(Limits {
        device_rate: NonZeroU32::MIN,
        ..Limits::default()
    });
    let (busy, calm) = (server.join(None), server.join(None));
    let ask = |token: &str| server.get("/v1/devices", Some(token)).0;
    let got: Vec<u16> = (0..40).map(|_| ask(&busy.token)).collect();
    assert!(got.starts_with(&[200; 20]), "twenty at once: {got:?}");
    assert!(got.contains(&429), "{got:?}");
    assert_eq!(ask(&calm.token), 200);
}

#[test]
fn a_device_has_so_many_event_streams() {
    let server = with(Limits {
        streams_per_device: 2,
        ..Limits::default()
    });
    let joined = server.join(None);
    let other = server.join(Some(joined.farm));
    let header = |token: &str| format!("authorization: Bearer {token}");
    let open = |token: &str| Stream::open(&server, "/v1/events", &header(token));
    let (mut one, mut two) = (open(&joined.token), open(&joined.token));
    assert_eq!((one.cursor(), two.cursor()), (Some(0), Some(0)));
    let (status, body) = server.get("/v1/events", Some(&joined.token));
    assert_eq!((status, error(&body).as_str()), (429, "too_many"));
    assert_eq!(
        open(&other.token).cursor(),
        Some(0),
        "another device's are its own"
    );
    // One that ends makes room; the server notices when it next writes to it.
    drop(one);
    drop(two);
    let began = Instant::now();
    let joined_again = server.join(Some(joined.farm));
    assert_eq!(open(&joined_again.token).cursor(), Some(0));
    assert!(began.elapsed() < Duration::from_secs(10));
}

#[test]
fn a_head_that_comes_drop_by_drop_is_cut_off() {
    let server = with(Limits {
        head: Duration::from_millis(300),
        ..Limits::default()
    });
    for said in ["", "GET / HTTP/1.1\r\nhost: x\r\nx-"] {
        let mut stream = connect(&server);
        stream.write_all(said.as_bytes()).unwrap();
        let began = Instant::now();
        let mut rest = Vec::new();
        // It is closed, with or without a word.
        let _ = stream.read_to_end(&mut rest);
        assert!(began.elapsed() < Duration::from_secs(5), "{said:?}");
        assert!(!rest.starts_with(b"HTTP/1.1 200"));
    }
    assert_eq!(server.get("/", None).0, 200);
}

#[test]
fn a_head_without_end_is_refused() {
    let server = Server::start();
    let mut stream = connect(&server);
    stream.write_all(b"GET / HTTP/1.1\r\nhost: x\r\n").unwrap();
    let line = format!("x-long: {}\r\n", "y".repeat(1000));
    for _ in 0..100 {
        if stream.write_all(line.as_bytes()).is_err() {
            break;
        }
    }
    let mut rest = Vec::new();
    let _ = stream.read_to_end(&mut rest);
    assert!(
        !rest.starts_with(b"HTTP/1.1 200"),
        "{}",
        String::from_utf8_lossy(&rest)
    );
    assert_eq!(server.get("/", None).0, 200);
}

#[test]
fn connections_beyond_the_limit_wait_for_their_turn() {
    let server = with(Limits {
        connections: 2,
        head: Duration::from_millis(500),
        ..Limits::default()
    });
    // Two that say nothing hold both places until they are cut off.
    let _idle = [connect(&server), connect(&server)];
    let began = Instant::now();
    assert_eq!(server.get("/health/live", None).0, 200);
    assert!(began.elapsed() < Duration::from_secs(8));
}

#[test]
fn a_client_behind_a_proxy_is_known_by_what_the_proxy_adds() {
    let limits = Limits {
        refused_joins: NonZeroU32::MIN,
        ..Limits::default()
    };
    for behind_proxy in [false, true] {
        let config = Config {
            limits: limits.clone(),
            behind_proxy,
            ..Config::default()
        };
        let server = Server::with(memory(), config);
        let join = |forwarded: &str| {
            let request = agent()
                .post(server.url("/v1/join"))
                .header("x-forwarded-for", forwarded);
            read(
                request
                    .send_json(json!({"invite": "abc", "name": "x"}))
                    .unwrap(),
            )
            .0
        };
        assert_eq!(join("192.0.2.1"), 403);
        assert_eq!(join("192.0.2.2"), if behind_proxy { 403 } else { 429 });
        // Whatever the client itself wrote stands before what the proxy adds.
        assert_eq!(join("198.51.100.9, 192.0.2.1"), 429);
    }
}

/// Seven megabytes are ready, and nobody reads them.
#[test]
fn an_answer_that_is_left_lying_is_taken_away() {
    let server = with(Limits {
        unread: Duration::from_millis(300),
        ..Limits::default()
    });
    let joined = server.join(None);
    let device = server.store.devices(joined.farm).unwrap()[0].id;
    let mut phone = Phone::new(joined.farm, device, Actor([9; 16]));
    for _ in 0..8 {
        phone.log("2026-11", 900_000);
        let (status, answer) = server.post("/v1/sync", Some(&joined.token), &phone.ask());
        assert_eq!(status, 200);
        phone.hear(&answer);
    }
    let empty = Phone::new(joined.farm, device, Actor([8; 16]));
    let ask = State {
        checked: false,
        ..empty.state
    };
    let ask = ask.ask(&Unsent::default(), NOW);
    let mut stream = connect(&server);
    // Four times over: the buffers on the way take in a good deal.
    for _ in 0..4 {
        write!(
            stream,
            "POST /v1/sync HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\n\
             content-length: {}\r\n\r\n",
            joined.token,
            ask.len()
        )
        .unwrap();
        stream.write_all(&ask).unwrap();
    }
    // What is tested is that waiting has an end.
    std::thread::sleep(Duration::from_secs(3));
    let mut got = Vec::new();
    let ended = stream.read_to_end(&mut got);
    assert!(got.starts_with(b"HTTP/1.1 200"), "{ended:?}");
    assert!(
        got.len() < 4 * 7_200_000,
        "{} bytes came all the same",
        got.len()
    );
}
