//! Stores, servers and phones to test with.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use pointdown_core::farm::System;
use pointdown_core::ledger::{Document, read_change};
use pointdown_core::record::{Actor, Change, DocName, Hash, Id};
use pointdown_core::sync::phone::{Heard, State, Unsent};
use pointdown_core::sync::{Digest, DocDigest, JoinAnswer, JoinAsk};
use pointdown_server::store::{DeviceKind, Joined, Joining, NewInvite, Role, Sqlite, Store};
use pointdown_server::{Config, Invitation, make_invite, serve};

/// A moment that tests call now: 2026-11-25T08:00:00Z.
pub(crate) const NOW: i64 = 1_795_593_600_000;

pub(crate) fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).unwrap();
    bytes
}

pub(crate) fn id() -> Id {
    Id::at(NOW, random())
}

pub(crate) fn memory() -> Arc<dyn Store> {
    Arc::new(Sqlite::in_memory().unwrap())
}

pub(crate) fn invite(store: &dyn Store, farm: Option<Id>) -> [u8; 32] {
    let code = random();
    let invite = NewInvite {
        code,
        farm,
        made_at: NOW,
        expires: NOW + 1000,
        role: Role::Helper,
        by: None,
    };
    store.add_invite(&invite).unwrap();
    code
}

pub(crate) fn joining(code: [u8; 32], farm: Option<Id>, actors: &[Actor]) -> Joining {
    Joining {
        code,
        farm,
        begin: Some(id()),
        device: id(),
        name: "Blue phone".into(),
        kind: DeviceKind::Phone,
        token: random(),
        actors: actors.to_vec(),
        now: NOW,
    }
}

/// A farm with one device: their ids.
pub(crate) fn new_farm(store: &dyn Store, actors: &[Actor]) -> (Id, Id) {
    let joining = joining(invite(store, None), None, actors);
    match store.join(&joining).unwrap() {
        Joined::In(farm) => (farm, joining.device),
        refused => panic!("{refused:?}"),
    }
}

/// One more device of a farm.
pub(crate) fn new_device(store: &dyn Store, farm: Id, actors: &[Actor]) -> Id {
    let joining = joining(invite(store, Some(farm)), None, actors);
    assert_eq!(store.join(&joining).unwrap(), Joined::In(farm));
    joining.device
}

/// The phone's half of the exchange over documents in memory.
pub(crate) struct Phone {
    pub(crate) farm: Id,
    pub(crate) device: Id,
    pub(crate) actor: Actor,
    pub(crate) state: State,
    pub(crate) docs: BTreeMap<DocName, Document>,
    pub(crate) outbox: Vec<Change>,
}

impl Phone {
    pub(crate) fn new(farm: Id, device: Id, actor: Actor) -> Phone {
        Phone {
            farm,
            device,
            actor,
            state: State::default(),
            docs: BTreeMap::new(),
            outbox: Vec::new(),
        }
    }

    /// The first phone of a new farm.
    pub(crate) fn begin(store: &dyn Store) -> Phone {
        let actor = Actor(random());
        let (farm, device) = new_farm(store, &[actor]);
        Phone::new(farm, device, actor)
    }

    /// One more phone of the same farm.
    pub(crate) fn another(&self, store: &dyn Store) -> Phone {
        let actor = Actor(random());
        Phone::new(self.farm, new_device(store, self.farm, &[actor]), actor)
    }

    /// Writes one record and puts its change into the outbox.
    pub(crate) fn log(&mut self, doc: &str, bytes: usize) -> Change {
        let doc: DocName = doc.parse().unwrap();
        let mut record = vec![0; bytes];
        getrandom::fill(&mut record).unwrap();
        let document = self
            .docs
            .entry(doc.clone())
            .or_insert_with(|| Document::new(self.farm, doc, self.actor));
        let (change, _) = document.append(&[(id(), record)], NOW / 1000).unwrap();
        self.outbox.push(change.clone());
        change
    }

    pub(crate) fn hashes(&self) -> BTreeMap<DocName, Vec<Hash>> {
        self.docs
            .iter()
            .map(|(name, doc)| {
                let mut all: Vec<Hash> = doc
                    .changes()
                    .iter()
                    .map(|bytes| read_change(name, bytes).unwrap().0.hash)
                    .collect();
                all.sort();
                (name.clone(), all)
            })
            .collect()
    }

    pub(crate) fn digests(&self) -> Vec<DocDigest> {
        self.hashes()
            .into_iter()
            .map(|(doc, hashes)| {
                let mut digest = Digest::default();
                hashes.iter().for_each(|hash| digest.add(hash));
                DocDigest { doc, digest }
            })
            .collect()
    }

    pub(crate) fn digest(&self) -> Digest {
        let mut all = Digest::default();
        self.digests().iter().for_each(|doc| all.join(&doc.digest));
        all
    }

    pub(crate) fn ask(&self) -> Vec<u8> {
        let unsent = Unsent {
            changes: self.outbox.clone(),
            docs: self.digests(),
            actors: vec![self.actor],
            vouched: Vec::new(),
        };
        self.state.ask(&unsent, NOW)
    }

    pub(crate) fn hear(&mut self, answer: &[u8]) -> Heard {
        let sent: Vec<_> = self
            .outbox
            .iter()
            .map(|c| (c.doc.clone(), c.hash))
            .collect();
        let heard = self.state.hear(&sent, answer, NOW, NOW).unwrap();
        for (name, bytes) in &heard.changes {
            let (farm, actor) = (self.farm, self.actor);
            self.docs
                .entry(name.clone())
                .or_insert_with(|| Document::new(farm, name.clone(), actor))
                .apply([bytes.as_slice()])
                .unwrap();
        }
        for (name, bytes) in &heard.docs {
            let theirs = Document::load(self.farm, name.clone(), self.actor, bytes).unwrap();
            match self.docs.get_mut(name) {
                Some(mine) => mine
                    .apply(theirs.changes().iter().map(Vec::as_slice))
                    .unwrap(),
                None => {
                    self.docs.insert(name.clone(), theirs);
                }
            }
        }
        self.outbox
            .retain(|c| !heard.acked.contains(&(c.doc.clone(), c.hash)));
        self.send_again(&heard);
        self.state = heard.state.clone();
        heard
    }

    /// Puts what the server asked for into the outbox, each change after those it builds on.
    fn send_again(&mut self, heard: &Heard) {
        let mut outbox = Vec::new();
        for (name, document) in &self.docs {
            for bytes in document.changes() {
                let change = read_change(name, &bytes).unwrap().0;
                let wanted = heard.resend.contains(name)
                    || heard.missing.contains(&(name.clone(), change.hash))
                    || self.outbox.contains(&change);
                if wanted {
                    outbox.push(change);
                }
            }
        }
        self.outbox = outbox;
    }

    /// Exchanges until nothing is left, and returns the number of messages.
    pub(crate) fn sync(&mut self, store: &dyn Store) -> usize {
        for round in 1..100 {
            let done = pointdown_server::exchange::exchange(
                store,
                self.farm,
                self.device,
                &self.ask(),
                NOW,
            )
            .unwrap();
            let heard = self.hear(&done.answer);
            if !heard.again && self.outbox.is_empty() {
                assert!(heard.state.refused.is_empty(), "{:?}", heard.state.refused);
                assert_eq!(self.digest(), heard.digest, "both sides hold the same");
                return round;
            }
        }
        panic!("the exchange goes in circles");
    }
}

/// A server on a port of its own, stopped when dropped.
pub(crate) struct Server {
    pub(crate) address: SocketAddr,
    pub(crate) store: Arc<dyn Store>,
    stop: Option<tokio::sync::oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    pub(crate) fn start() -> Server {
        Server::with(memory(), Config::default())
    }

    pub(crate) fn with(store: Arc<dyn Store>, config: Config) -> Server {
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let (said, heard) = std::sync::mpsc::channel();
        let kept = store.clone();
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_multi_thread()
                .worker_threads(2)
                .enable_all()
                .build()
                .unwrap();
            runtime.block_on(async {
                let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
                said.send(listener.local_addr().unwrap()).unwrap();
                let shutdown = async {
                    let _ = stopped.await;
                };
                serve(config, listener, store, shutdown).await.unwrap();
            });
        });
        Server {
            address: heard.recv().unwrap(),
            store: kept,
            stop: Some(stop),
            thread: Some(thread),
        }
    }

    pub(crate) fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    pub(crate) fn invite(&self, farm: Option<Id>) -> String {
        self.invite_as(farm, Role::Helper)
    }

    pub(crate) fn invite_as(&self, farm: Option<Id>, role: Role) -> String {
        let invitation = Invitation {
            farm,
            role,
            by: None,
            hours: 1,
        };
        make_invite(&*self.store, &System, &invitation)
            .unwrap()
            .code
    }

    /// Tells the server to stop and waits until it has.
    pub(crate) fn stop(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }

    /// The owner of a new farm, or a helper of this one.
    pub(crate) fn join(&self, farm: Option<Id>) -> JoinAnswer {
        self.join_as(farm, Role::Helper)
    }

    pub(crate) fn join_as(&self, farm: Option<Id>, role: Role) -> JoinAnswer {
        let ask = JoinAsk {
            invite: self.invite_as(farm, role),
            farm: None,
            name: "Red phone".into(),
            actors: Vec::new(),
        };
        let (status, body) = self.post("/v1/join", None, &serde_json::to_vec(&ask).unwrap());
        assert_eq!(status, 200, "{}", String::from_utf8_lossy(&body));
        serde_json::from_slice(&body).unwrap()
    }

    pub(crate) fn post(&self, path: &str, token: Option<&str>, body: &[u8]) -> (u16, Vec<u8>) {
        let mut request = agent()
            .post(self.url(path))
            .header("content-type", "application/json");
        if let Some(token) = token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        read(request.send(body).unwrap())
    }

    pub(crate) fn get(&self, path: &str, token: Option<&str>) -> (u16, Vec<u8>) {
        let mut request = agent().get(self.url(path));
        if let Some(token) = token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        read(request.call().unwrap())
    }

    pub(crate) fn delete(&self, path: &str, token: &str) -> (u16, Vec<u8>) {
        let request = agent()
            .delete(self.url(path))
            .header("authorization", format!("Bearer {token}"));
        read(request.call().unwrap())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
    }
}

pub(crate) fn agent() -> ureq::Agent {
    ureq::Agent::new_with_config(
        ureq::Agent::config_builder()
            .timeout_global(Some(Duration::from_secs(20)))
            .http_status_as_error(false)
            .build(),
    )
}

pub(crate) fn read(answer: ureq::http::Response<ureq::Body>) -> (u16, Vec<u8>) {
    let status = answer.status().as_u16();
    (status, answer.into_body().read_to_vec().unwrap())
}

/// The stable word of a refusal.
pub(crate) fn error(body: &[u8]) -> String {
    let refused: pointdown_core::sync::Refused = serde_json::from_slice(body).unwrap();
    assert!(!refused.message.is_empty());
    refused.error
}
