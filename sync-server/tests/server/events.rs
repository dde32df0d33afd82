//! "There is something newer", and the end of it.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use pointdown_core::sync::Ask;
use pointdown_server::store::Changed;
use pointdown_server::{Config, exchange::exchange};

use crate::support::{NOW, Phone, Server, memory};

/// An open event stream, line by line.
pub(crate) struct Stream(BufReader<TcpStream>);

impl Stream {
    pub(crate) fn open(server: &Server, path: &str, header: &str) -> Stream {
        let mut stream = TcpStream::connect(server.address).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_secs(60)))
            .unwrap();
        write!(stream, "GET {path} HTTP/1.1\r\nhost: x\r\n{header}\r\n\r\n").unwrap();
        Stream(BufReader::new(stream))
    }

    /// The first line that satisfies, or nothing where the stream ends before.
    pub(crate) fn line(&mut self, wanted: impl Fn(&str) -> bool) -> Option<String> {
        let began = Instant::now();
        let mut line = String::new();
        loop {
            // Signs of life keep coming; waiting must end all the same.
            assert!(began.elapsed() < Duration::from_secs(90), "nothing came");
            line.clear();
            // The end: a chunk of no bytes (RFC 9112, 7.1), or the connection's.
            if self.0.read_line(&mut line).unwrap() == 0 || line == "0\r\n" {
                return None;
            }
            if wanted(line.trim_end()) {
                return Some(line.trim_end().to_string());
            }
        }
    }

    /// The next cursor.
    pub(crate) fn cursor(&mut self) -> Option<u64> {
        let data = self.line(|line| line.starts_with("data:"))?;
        let json: serde_json::Value = serde_json::from_str(data["data:".len()..].trim()).unwrap();
        json["cursor"].as_u64()
    }
}

fn bearer(token: &str) -> String {
    format!("authorization: Bearer {token}")
}

fn push(server: &Server, phone: &mut Phone, token: &str) {
    phone.log("2026-11", 40);
    let (status, _) = server.post("/v1/sync", Some(token), &phone.ask());
    assert_eq!(status, 200);
}

#[test]
fn a_stream_tells_where_the_log_is_and_when_it_grows() {
    let config = Config {
        heartbeat: Duration::from_millis(50),
        ..Config::default()
    };
    let server = Server::with(memory(), config);
    let (joined, other) = (server.join(None), server.join(None));
    let device = server.store.devices(joined.farm).unwrap()[0].id;
    let mut phone = Phone::new(joined.farm, device, pointdown_core::record::Actor([9; 16]));
    let mut stream = Stream::open(&server, "/v1/events", &bearer(&joined.token));
    let mut elsewhere = Stream::open(&server, "/v1/events", &bearer(&other.token));
    assert!(stream.line(|l| l == "event: newer").is_some());
    assert_eq!(stream.cursor(), Some(0));
    assert_eq!(elsewhere.cursor(), Some(0));
    push(&server, &mut phone, &joined.token);
    assert_eq!(stream.cursor(), Some(1));
    push(&server, &mut phone, &joined.token);
    assert_eq!(stream.cursor(), Some(2));
    // The other farm's stream heard nothing of it: the next thing it says is its end.
    let of_other = server.store.devices(other.farm).unwrap()[0].id;
    let gone = server.store.revoke(other.farm, of_other, None, NOW);
    assert_eq!(gone, Ok(Changed::Done));
    assert_eq!(elsewhere.cursor(), None);
}

#[test]
fn a_stream_keeps_speaking_and_sees_what_another_process_did() {
    let config = Config {
        heartbeat: Duration::from_millis(50),
        ..Config::default()
    };
    let server = Server::with(memory(), config);
    let joined = server.join(None);
    let device = server.store.devices(joined.farm).unwrap()[0].id;
    let mut stream = Stream::open(&server, "/v1/events", &bearer(&joined.token));
    assert_eq!(stream.cursor(), Some(0));
    assert!(
        stream.line(|l| l.starts_with(':')).is_some(),
        "a comment as a sign of life"
    );
    // Straight into the store, past the server that holds the stream.
    let mut phone = Phone::new(joined.farm, device, pointdown_core::record::Actor([9; 16]));
    phone.log("2026-11", 40);
    exchange(&*server.store, joined.farm, device, &phone.ask(), NOW).unwrap();
    assert_eq!(stream.cursor(), Some(1));
    server.store.revoke(joined.farm, device, None, NOW).unwrap();
    assert_eq!(stream.cursor(), None);
}

#[test]
fn a_device_that_is_shut_out_is_out_at_once() {
    let server = Server::start();
    let (first, second) = {
        let first = server.join(None);
        let second = server.join(Some(first.farm));
        (first, second)
    };
    let mut stream = Stream::open(&server, "/v1/events", &bearer(&second.token));
    assert_eq!(stream.cursor(), Some(0));
    let (_, list) = server.get("/v1/devices", Some(&second.token));
    let list: serde_json::Value = serde_json::from_slice(&list).unwrap();
    let me = list
        .as_array()
        .unwrap()
        .iter()
        .find(|d| d["me"] == true)
        .unwrap();
    let path = format!("/v1/devices/{}", me["id"].as_str().unwrap());
    assert_eq!(server.delete(&path, &first.token).0, 204);
    assert_eq!(stream.cursor(), None, "the stream ended");
    let ask = Ask {
        v: 1,
        epoch: None,
        cursor: 0,
        now: 0,
        actors: Vec::new(),
        vouched: Vec::new(),
        pack: Default::default(),
        check: None,
        fetch: Vec::new(),
    };
    let (status, _) = server.post("/v1/sync", Some(&second.token), &ask.encode());
    assert_eq!(status, 401);
    assert_eq!(server.get("/v1/events", Some(&second.token)).0, 401);
    assert_eq!(
        server.delete(&path, &first.token).0,
        404,
        "it was out already"
    );
    assert_eq!(server.get("/v1/devices", Some(&first.token)).0, 200);
}

#[test]
fn streams_end_when_the_server_stops() {
    let mut server = Server::start();
    let token = server.join(None).token;
    let mut stream = Stream::open(&server, "/v1/events", &bearer(&token));
    assert_eq!(stream.cursor(), Some(0));
    let began = std::time::Instant::now();
    server.stop();
    assert_eq!(stream.cursor(), None);
    assert!(
        began.elapsed() < Duration::from_secs(8),
        "not cut by the grace"
    );
}
