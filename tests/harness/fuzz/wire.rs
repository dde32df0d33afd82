//! What comes over a wire or in a file. The first byte of the input says how the rest is dressed, so
//! that the fuzzer gets past checksums, DEFLATE and lengths to what lies behind them.

use std::cell::RefCell;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use automerge::sync::{ChunkList, Message, MessageVersion};
use ciborium::Value as Cbor;
use pointdown_core::farm::{Farm, Location, System};
use pointdown_core::record::{Actor, DocName, Id};
use pointdown_core::sync::peer::Envelope;
use pointdown_core::sync::{
    Answer, Ask, Digest, JoinAnswer, JoinAsk, Refused, Saved, VERSION, pack, unpack,
};
use pointdown_server::exchange::exchange;
use pointdown_server::store::{self, DeviceKind, Joining, NewInvite, Role, Sqlite, Store};
use serde_bytes::{ByteArray, ByteBuf};
use sha2::{Digest as _, Sha256};

use super::Outcome;
use super::bench::{Bench, MONTH, NOW, chunk, clean, deflate};
use crate::phone::at;

/// The actor of changes in the corpus, as in [`crate::raw::Foreign`].
const ACTOR: [u8; 16] = [9; 16];

fn doc(n: u8) -> DocName {
    let name = [MONTH, "farm", "2026-04", "1970-01"][usize::from(n % 4)];
    name.parse().expect("a document's name")
}

/// A change: the low bits of the first byte choose the document, the next the type of the chunk, and
/// with the highest one the bytes come as they are.
pub(super) fn change(input: &[u8]) -> Outcome {
    let Some((how, rest)) = input.split_first() else {
        return Outcome::Refused;
    };
    let bytes = dressed(*how, rest);
    Bench::with(|bench| Ok(bench.farm.take(&[(doc(*how), bytes)])?.changes > 0))
}

/// Bytes of a chunk as the first byte wants them.
fn dressed(how: u8, rest: &[u8]) -> Vec<u8> {
    match how >> 4 {
        8.. => rest.to_vec(),
        kind @ (0 | 2 | 3) => chunk([1, 0, 2, 3][usize::from(kind)], rest),
        _ => chunk(1, rest),
    }
}

/// A saved document inside a file with a right checksum.
pub(super) fn document(input: &[u8]) -> Outcome {
    let Some((how, rest)) = input.split_first() else {
        return Outcome::Refused;
    };
    let saved = match how >> 4 {
        8.. => rest.to_vec(),
        7 => chunk(3, rest),
        _ => chunk(0, rest),
    };
    Bench::with(|bench| {
        let docs = vec![Cbor::Array(vec![
            doc(*how).to_string().into(),
            Cbor::Bytes(saved),
        ])];
        let bundle = Cbor::Map(vec![
            ("v".into(), 1.into()),
            ("farm".into(), Cbor::Bytes(bench.farm.id().bytes().to_vec())),
            ("docs".into(), Cbor::Array(docs)),
        ]);
        let mut body = Vec::new();
        ciborium::into_writer(&bundle, &mut body).expect("into memory");
        Ok(bench.farm.import(&file(&body))?.changes > 0)
    })
}

fn file(body: &[u8]) -> Vec<u8> {
    let mut file = b"pointdown bundle".to_vec();
    file.extend(Sha256::digest(body));
    file.extend(body);
    file
}

/// A file that one phone exported, after its checksum.
pub(super) fn bundle(input: &[u8]) -> Outcome {
    let file = file(input);
    if let Ok(farm) = Farm::from_export(&Location::Memory, env(), &file) {
        clean(&farm);
    }
    Bench::with(|bench| Ok(bench.farm.import(&file)?.changes > 0))
}

fn env() -> Arc<crate::phone::TestEnv> {
    crate::phone::TestEnv::new(at(NOW), 43)
}

/// What another phone says: an envelope, a message of Automerge's protocol in one, or a change in
/// such a message.
pub(super) fn envelope(input: &[u8]) -> Outcome {
    let Some((how, rest)) = input.split_first() else {
        return Outcome::Refused;
    };
    Bench::with(|bench| {
        let message = match how >> 4 {
            8.. => None,
            4..8 => Some(rest.to_vec()),
            v => Some(
                Message {
                    heads: Vec::new(),
                    need: Vec::new(),
                    have: Vec::new(),
                    changes: ChunkList::from(vec![match v {
                        2 => chunk(0, rest),
                        3 => chunk(2, rest),
                        _ => chunk(1, rest),
                    }]),
                    flags: None,
                    version: if v == 2 {
                        MessageVersion::V2
                    } else {
                        MessageVersion::V1
                    },
                }
                .encode(),
            ),
        };
        let bytes = match message {
            None => rest.to_vec(),
            Some(m) => Envelope::new(bench.farm.id(), Vec::new(), vec![(doc(*how), m)]).encode(),
        };
        let mut session = bench.farm.peer();
        session.say()?;
        let taken = session.listen(&bytes)?.changes > 0;
        session.say()?;
        Ok(taken)
    })
}

/// What a server answers: as it comes, with a folded pack, or with a change or a document in it.
pub(super) fn answer(input: &[u8]) -> Outcome {
    let Some((how, rest)) = input.split_first() else {
        return Outcome::Refused;
    };
    let mut answer = Answer {
        v: VERSION,
        epoch: ByteArray::new([4; 16]),
        cursor: 9,
        more: how & 8 != 0,
        now: at(NOW).ms(),
        pack: ByteBuf::new(),
        docs: Vec::new(),
        lack: Vec::new(),
        want: Vec::new(),
        refused: Vec::new(),
        digest: Digest::default(),
    };
    let bytes = match how >> 4 {
        8.. => rest.to_vec(),
        4..8 => {
            answer.pack = deflate(rest).into();
            answer.encode()
        }
        3 => {
            let saved = Saved {
                doc: doc(*how),
                bytes: chunk(0, rest).into(),
            };
            answer.docs.push(saved);
            answer.encode()
        }
        _ => {
            answer.pack = pack([(&doc(*how), dressed(*how, rest).as_slice())]);
            answer.encode()
        }
    };
    Bench::with(|bench| {
        bench.farm.sync_ask()?;
        let heard = bench.farm.sync_hear(&bytes)?;
        bench.farm.sync_ask()?;
        // An answer that says something moves the cursor; the phone is not used again.
        Ok(heard.changes > 0 || bench.farm.status()?.heard_at.is_some())
    })
}

/// A server with one farm and one device.
struct Served {
    store: Sqlite,
    farm: Id,
    device: Id,
    digest: Digest,
}

impl Served {
    fn new() -> Served {
        let store = Sqlite::in_memory().expect("a store");
        let (farm, now) = (Bench::new().farm.id(), at(NOW).ms());
        let device = crate::raw::id(NOW, 99);
        let invite = NewInvite {
            code: [1; 32],
            farm: None,
            made_at: now,
            expires: now + 1,
            role: Role::Helper,
            by: None,
        };
        store.add_invite(&invite).expect("an invite");
        let joining = Joining {
            code: [1; 32],
            farm: Some(farm),
            begin: None,
            device,
            name: "phone".into(),
            kind: DeviceKind::Phone,
            token: [2; 32],
            actors: vec![Actor(ACTOR)],
            now,
        };
        store.join(&joining).expect("the device is in");
        let digest = Digest::default();
        Served {
            store,
            farm,
            device,
            digest,
        }
    }

    /// Everything in the log is good for an empty phone.
    fn is_good_for_phones(&self) {
        let log =
            store::read(&self.store, self.farm, |log| log.after(0, usize::MAX)).expect("the log");
        let farm = crate::raw::empty(self.farm, 8);
        let changes: Vec<_> = log.into_iter().map(|c| (c.doc, c.bytes)).collect();
        farm.take(&changes)
            .expect("phones take what the server took");
        clean(&farm);
    }
}

/// What a phone asks a server: as it comes, with a folded pack, or with a change in it.
pub(super) fn ask(input: &[u8]) -> Outcome {
    thread_local! {
        static READY: RefCell<Option<Served>> = const { RefCell::new(None) };
    }
    let Some((how, rest)) = input.split_first() else {
        return Outcome::Refused;
    };
    let mut ask = Ask {
        v: VERSION,
        epoch: None,
        cursor: 0,
        now: at(NOW).ms(),
        actors: Vec::new(),
        vouched: Vec::new(),
        pack: ByteBuf::new(),
        check: (how & 8 != 0).then(Vec::new),
        fetch: Vec::new(),
    };
    let bytes = match how >> 4 {
        8.. => rest.to_vec(),
        4..8 => {
            ask.pack = deflate(rest).into();
            ask.encode()
        }
        _ => {
            ask.pack = pack([(&doc(*how), dressed(*how, rest).as_slice())]);
            ask.encode()
        }
    };
    let served = READY.take().unwrap_or_else(Served::new);
    let now = at(NOW).ms();
    let done = exchange(&served.store, served.farm, served.device, &bytes, now);
    let digest = store::read(&served.store, served.farm, |log| log.digest()).expect("a digest");
    let taken = done.as_ref().is_ok_and(|done| done.taken > 0);
    if let Ok(done) = done {
        let answer = Answer::decode(&done.answer).expect("an answer");
        assert_eq!(answer.digest, digest);
        unpack(&answer.pack).expect("packed changes");
    }
    if taken {
        served.is_good_for_phones();
        return Outcome::Taken;
    }
    assert_eq!(digest, served.digest, "what is refused changes nothing");
    READY.set(Some(served));
    Outcome::Refused
}

/// What a server that holds the phone's farm answers to a message of it.
pub(super) fn answered(ask: &[u8]) -> Vec<u8> {
    let served = Served::new();
    exchange(&served.store, served.farm, served.device, ask, at(NOW).ms())
        .expect("an answer")
        .answer
}

/// A request to the running server: to join, or (by the first byte) another path.
pub(super) fn join(input: &[u8]) -> Outcome {
    let Some((how, body)) = input.split_first() else {
        return Outcome::Refused;
    };
    if let Ok(ask) = serde_json::from_slice::<JoinAsk>(body) {
        let text = serde_json::to_string(&ask).expect("JSON");
        assert_eq!(serde_json::from_str::<JoinAsk>(&text).ok(), Some(ask));
    }
    let _ = serde_json::from_slice::<JoinAnswer>(body);
    let _ = serde_json::from_slice::<Refused>(body);
    let (method, path, kind) = match how % 4 {
        0 | 1 => ("POST", "/v1/join", "application/json"),
        2 => ("POST", "/v1/sync", "application/cbor"),
        _ => ("POST", "/v1/invites", "application/json"),
    };
    let mut stream = TcpStream::connect(server()).expect("a connection");
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .expect("a limit");
    let head = format!(
        "{method} {path} HTTP/1.1\r\nhost: x\r\nconnection: close\r\ncontent-type: {kind}\r\n\
         content-length: {}\r\n\r\n",
        body.len()
    );
    stream
        .write_all(&[head.as_bytes(), body].concat())
        .expect("it is sent");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).expect("an answer in time");
    let answer = String::from_utf8(answer).expect("text");
    let status = answer.get(9..12).unwrap_or_default().to_string();
    let known = ["200", "400", "401", "403", "409", "410", "415", "422"];
    assert!(known.contains(&status.as_str()), "{answer}");
    if status == "200" {
        invite();
        return Outcome::Taken;
    }
    Outcome::Refused
}

/// The store and the address of a server on this machine.
fn running() -> &'static (Arc<Sqlite>, SocketAddr) {
    static SERVER: OnceLock<(Arc<Sqlite>, SocketAddr)> = OnceLock::new();
    SERVER.get_or_init(|| {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        listener.set_nonblocking(true).expect("as tokio wants it");
        let address = listener.local_addr().expect("an address");
        let store = Arc::new(Sqlite::in_memory().expect("a store"));
        let serving = store.clone();
        std::thread::spawn(move || {
            let runtime = tokio::runtime::Runtime::new().expect("a runtime");
            runtime.block_on(async {
                let listener = tokio::net::TcpListener::from_std(listener).expect("a listener");
                let config = pointdown_server::Config {
                    env: Arc::new(System),
                    // Nearly all of these are refused; each is to be looked at.
                    limits: pointdown_server::Limits {
                        refused_joins: std::num::NonZeroU32::MAX,
                        ..Default::default()
                    },
                    ..Default::default()
                };
                let never = std::future::pending();
                pointdown_server::serve(config, listener, serving, never)
                    .await
                    .expect("it serves");
            });
        });
        (store, address)
    })
}

fn server() -> SocketAddr {
    static INVITED: OnceLock<()> = OnceLock::new();
    let address = running().1;
    INVITED.get_or_init(invite);
    address
}

/// The invite of the corpus, its 16 bytes all zero, so that the code is `aaaaaaaaaaaaaaaaaaaaaaaaaa`.
fn invite() {
    let now = pointdown_core::farm::Env::now(&System).ms();
    let code = Sha256::digest([0u8; 16]).into();
    let store: &dyn Store = &*running().0;
    // Once spent it stays spent: later ones show how a used invite is answered.
    let _ = store.add_invite(&NewInvite {
        code,
        farm: None,
        made_at: now,
        expires: now + 3_600_000,
        role: Role::Helper,
        by: None,
    });
}
