//! A server announces itself, and a phone finds it again at another address. On the loopback
//! interface only.

use std::sync::Arc;
use std::time::{Duration, Instant};

use mdns_sd::{IfKind, ServiceDaemon, ServiceEvent};
use pointdown_core::farm::{
    Beginning, ErrorKind, Farm, Interfaces, Join, Location, System, nearby,
};
use pointdown_core::sync::InviteLink;
use pointdown_server::store::{Sqlite, Store};
use pointdown_server::{Config, Tls, own_pin};
use serde_json::json;

use crate::support::{Server, memory};

fn start(store: Arc<dyn Store>, folder: &std::path::Path) -> Server {
    let config = Config {
        announce: Some(Interfaces::Loopback),
        tls: Some(Tls::Own {
            folder: folder.into(),
            names: vec!["127.0.0.1".into()],
        }),
        ..Config::default()
    };
    Server::with(store, config)
}

fn found(url: &str) {
    let began = Instant::now();
    loop {
        let all = nearby(Duration::from_millis(500), Interfaces::Loopback).unwrap();
        if all.iter().any(|found| found == url) {
            return;
        }
        assert!(
            began.elapsed() < Duration::from_secs(30),
            "{url} is not in {all:?}"
        );
    }
}

#[test]
fn a_phone_finds_its_own_server_again_and_no_other() {
    let (own, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store: Arc<dyn Store> = Arc::new(Sqlite::in_memory().unwrap());
    let mut server = start(store.clone(), own.path());
    let url = |server: &Server| format!("https://127.0.0.1:{}", server.address.port());
    found(&url(&server));
    let fields = json!({"name": "Larkfield", "zone": "Europe/Dublin"});
    let beginning = Beginning {
        farm: fields.as_object().unwrap().clone(),
        person: "Ada".into(),
        device: "Ada’s phone".into(),
    };
    let farm = Farm::begin(&Location::Memory, Arc::new(System), beginning).unwrap();
    let link = InviteLink {
        url: url(&server),
        code: server.invite(None),
        pin: own_pin(own.path()).unwrap(),
    };
    let joining = Join {
        url: &link.to_string(),
        invite: "",
        device: "Ada’s phone",
    };
    farm.join(&joining).unwrap();
    server.stop();
    // The same store and key at another port, beside a stranger with a key of its own.
    let stranger = start(memory(), other.path());
    let moved = start(store, own.path());
    found(&url(&stranger));
    found(&url(&moved));
    assert_eq!(farm.sync().unwrap_err().kind, ErrorKind::Network);
    let again = farm.find_server_again(Duration::from_secs(2), Interfaces::Loopback);
    assert_eq!(again.unwrap(), Some(url(&moved)));
    farm.sync().unwrap();
    assert_eq!(farm.status().unwrap().server, Some(url(&moved)));
}

#[test]
fn the_announcement_says_nothing_private() {
    let folder = tempfile::tempdir().unwrap();
    let server = start(memory(), folder.path());
    let daemon = ServiceDaemon::new().unwrap();
    daemon.disable_interface(IfKind::All).unwrap();
    daemon.enable_interface(IfKind::LoopbackV4).unwrap();
    let events = daemon.browse(pointdown_core::farm::SERVICE).unwrap();
    let until = Instant::now() + Duration::from_secs(30);
    let said = loop {
        match events.recv_deadline(until).expect("it is announced") {
            ServiceEvent::ServiceResolved(said) if said.port == server.address.port() => {
                break said;
            }
            _ => {}
        }
    };
    let says: Vec<String> = said.txt_properties.iter().map(|p| p.to_string()).collect();
    assert_eq!(says.len(), 1, "{says:?}");
    assert!(says[0].contains("tls") && says[0].contains('1'), "{says:?}");
    let name = said
        .fullname
        .strip_suffix("._pointdown._tcp.local.")
        .unwrap();
    let drawn = name.strip_prefix("pointdown-").unwrap();
    assert!(
        drawn.len() == 8 && drawn.chars().all(|c| c.is_ascii_hexdigit()),
        "{name}"
    );
    assert_eq!(said.host, format!("{name}.local."), "not the machine's own");
    let _ = daemon.shutdown();
}
