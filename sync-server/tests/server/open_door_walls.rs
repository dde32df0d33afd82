//! The open door at the level of its messages, without any client from elsewhere: one farm's token
//! and another farm's documents.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::Duration;

use pointdown_core::ledger::{Document, PeerState};
use pointdown_core::record::{Actor, DocName, Id};
use pointdown_server::Config;
use serde::{Deserialize, Serialize};
use serde_bytes::ByteBuf;

use crate::support::{Phone, Server};
use crate::watched::Watched;

#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "camelCase", default)]
struct Message {
    #[serde(rename = "type")]
    kind: String,
    sender_id: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    document_id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    data: Option<ByteBuf>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    supported_protocol_versions: Vec<String>,
    #[serde(skip_serializing)]
    message: Option<String>,
}

/// A WebSocket (RFC 6455) that sends and reads short binary frames.
struct Socket(TcpStream);

impl Socket {
    fn open(server: &Server, token: &str) -> Socket {
        let mut stream = TcpStream::connect(server.address).unwrap();
        let most = Some(Duration::from_secs(20));
        stream.set_read_timeout(most).unwrap();
        write!(
            stream,
            "GET /v1/automerge HTTP/1.1\r\nhost: {}\r\nauthorization: Bearer {token}\r\n\
             upgrade: websocket\r\nconnection: upgrade\r\nsec-websocket-version: 13\r\n\
             sec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n",
            server.address
        )
        .unwrap();
        let mut head = Vec::new();
        while !head.ends_with(b"\r\n\r\n") {
            let mut byte = [0];
            stream.read_exact(&mut byte).unwrap();
            head.push(byte[0]);
        }
        assert!(head.starts_with(b"HTTP/1.1 101"));
        // The answer to this key that RFC 6455, 1.3 works out.
        let head = String::from_utf8(head).unwrap();
        assert!(head.contains("s3pPLMBiTxaQ9kYGzzhZRbK+xOo="), "{head}");
        let mut socket = Socket(stream);
        socket.send(&Message {
            kind: "join".into(),
            sender_id: "someone".into(),
            supported_protocol_versions: vec!["1".into()],
            ..Message::default()
        });
        assert_eq!(socket.hear().kind, "peer");
        socket
    }

    fn send(&mut self, message: &Message) {
        let mut body = Vec::new();
        ciborium::into_writer(message, &mut body).unwrap();
        let length = u16::try_from(body.len()).unwrap();
        let mut frame = vec![0x82, 0x80 | 126];
        frame.extend(length.to_be_bytes());
        // A mask of zeros is a mask, too.
        frame.extend([0; 4]);
        frame.extend(body);
        self.0.write_all(&frame).unwrap();
    }

    /// The next message; pings are passed over.
    fn hear(&mut self) -> Message {
        loop {
            let mut head = [0; 2];
            self.0.read_exact(&mut head).unwrap();
            let length = match head[1] & 127 {
                126 => {
                    let mut long = [0; 2];
                    self.0.read_exact(&mut long).unwrap();
                    usize::from(u16::from_be_bytes(long))
                }
                short => usize::from(short),
            };
            let mut body = vec![0; length];
            self.0.read_exact(&mut body).unwrap();
            if head[0] & 15 == 2 {
                return ciborium::from_reader(body.as_slice()).unwrap();
            }
        }
    }
}

fn written(farm: Id, doc: &DocName) -> String {
    bs58::encode(doc.id(farm).bytes())
        .with_check()
        .into_string()
}

#[test]
fn another_farms_document_is_refused_before_anything_is_loaded() {
    let watched = Arc::new(Watched::default());
    let config = Config {
        automerge_writes: true,
        ..Config::default()
    };
    let server = Server::with(watched.clone(), config);
    let (a, b) = (server.join(None), server.join(None));
    let device_b = server.store.devices(b.farm).unwrap()[0].id;
    let mut phone = Phone::new(b.farm, device_b, Actor([9; 16]));
    phone.log("2026-11", 40);
    assert_eq!(server.post("/v1/sync", Some(&b.token), &phone.ask()).0, 200);
    let month: DocName = "2026-11".parse().unwrap();
    // What a client that had B's month would say: real changes, and bytes that are no message.
    let mut forged = Document::new(b.farm, month.clone(), Actor([8; 16]));
    forged
        .append(&[(crate::support::id(), vec![1])], 0)
        .unwrap();
    let real = forged.say(&mut PeerState::default()).unwrap();
    let head_b = server.store.head(b.farm).unwrap();

    let mut socket = Socket::open(&server, &a.token);
    watched.touched();
    for (kind, data) in [
        ("request", real.clone()),
        ("sync", real),
        ("sync", b"no message at all".to_vec()),
        ("request", Vec::new()),
    ] {
        for id in [written(b.farm, &month), written(b.farm, &DocName::farm())] {
            socket.send(&Message {
                kind: kind.into(),
                sender_id: "someone".into(),
                document_id: Some(id.clone()),
                data: Some(ByteBuf::from(data.clone())),
                ..Message::default()
            });
            let said = socket.hear();
            assert_eq!(
                (said.kind.as_str(), said.document_id),
                ("doc-unavailable", Some(id))
            );
        }
    }
    // A's list of documents was looked at, and nothing of B.
    let touched = watched.touched();
    assert!(
        touched.len() >= 8 && touched.iter().all(|farm| *farm == a.farm),
        "{touched:?}"
    );
    // One that nobody has gets the very same answer.
    let nobodys = written(crate::support::id(), &month);
    socket.send(&Message {
        kind: "request".into(),
        sender_id: "someone".into(),
        document_id: Some(nobodys.clone()),
        data: Some(ByteBuf::from(vec![0x42])),
        ..Message::default()
    });
    let said = socket.hear();
    assert_eq!(
        (said.kind.as_str(), said.document_id),
        ("doc-unavailable", Some(nobodys))
    );
    assert!(watched.touched().iter().all(|farm| *farm == a.farm));
    assert_eq!(server.store.head(b.farm).unwrap(), head_b);
}
