//! Real facades against the real server, over HTTP.

use std::sync::Arc;

use pointdown_core::farm::{Env, ErrorKind, Farm, Join, Location, System};
use pointdown_core::record::Instant;
use pointdown_server::Config;
use pointdown_server::store::{self, Sqlite};

use crate::kitchen::{family, gather, join};
use crate::support::Server;

fn phone(server: &Server, first: &Farm, person: &str) -> Farm {
    let join = Join {
        url: &server.url(""),
        invite: &first.invite().unwrap(),
        device: person,
    };
    Farm::join_new(&Location::Memory, Arc::new(System), &join, person).unwrap()
}

fn assert_same(phones: &[&Farm]) {
    let sheet = |farm: &Farm| {
        let today = farm.today().unwrap();
        farm.sheet_hash(today, today).unwrap()
    };
    let first = phones[0];
    for farm in phones {
        assert_eq!(sheet(farm), sheet(first));
        assert_eq!(farm.record_count().unwrap(), first.record_count().unwrap());
        let status = farm.status().unwrap();
        assert_eq!((status.waiting, status.agreed), (0, true), "{status:?}");
        assert!(status.refused.is_empty(), "{status:?}");
    }
}

#[test]
fn three_phones_log_apart_and_end_the_same() {
    let server = Server::start();
    let ada = family(&server);
    let ben = phone(&server, &ada, "Ben");
    let cleo = phone(&server, &ada, "Cleo");
    for n in 1..=10 {
        gather(&ada, "Barn", "hen", n);
        gather(&ben, "Pond", "duck", n);
        gather(&cleo, "Barn", "hen", 100 + n);
    }
    for farm in [&ada, &ben, &cleo, &ada, &ben] {
        farm.sync().unwrap();
    }
    assert_same(&[&ada, &ben, &cleo]);
    let today = ada.today().unwrap();
    assert_eq!(
        ada.sheet(today, today).unwrap().gathered.eggs,
        55 + 55 + 1055
    );
}

#[test]
fn a_phone_that_keeps_another_farm_hears_why_it_cannot_join() {
    let server = Server::start();
    let (ours, theirs) = (family(&server), family(&server));
    let join = Join {
        url: &server.url(""),
        invite: &ours.invite().unwrap(),
        device: "x",
    };
    let refused = theirs.join(&join).unwrap_err();
    assert_eq!(refused.kind, ErrorKind::Refused);
    assert!(refused.to_string().contains("another farm"), "{refused}");
}

/// The data folder is put back as it was days ago, and nobody says a word about it.
#[test]
fn a_server_restored_from_an_older_copy_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let live = folder.path().join("live");
    let start = |data: &std::path::Path| {
        let store = Arc::new(Sqlite::open(data).unwrap());
        let config = Config {
            data: Some(data.into()),
            ..Config::default()
        };
        Server::with(store, config)
    };
    let mut server = start(&live);
    let ada = family(&server);
    let ben = phone(&server, &ada, "Ben");
    for n in 1..=20 {
        gather(&ada, "Barn", "hen", n);
    }
    ada.sync().unwrap();
    server.stop();
    drop(server);
    let copy = folder.path().join("copy");
    std::fs::create_dir(&copy).unwrap();
    std::fs::copy(live.join("server.db"), copy.join("server.db")).unwrap();
    let mut server = start(&live);
    // The address changed with the restart: both phones join anew, as after a move.
    for farm in [&ada, &ben] {
        join(&server, farm, &server.invite(Some(ada.id())));
    }
    gather(&ben, "Pond", "duck", 7);
    gather(&ada, "Barn", "hen", 9);
    for farm in [&ben, &ada, &ben] {
        farm.sync().unwrap();
    }
    assert_same(&[&ada, &ben]);
    let known = store::read(&*server.store, ada.id(), |log| log.counter()).unwrap();
    server.stop();
    drop(server);

    let server = start(&copy);
    let older = store::read(&*server.store, ada.id(), |log| log.counter()).unwrap();
    assert!(older < known);
    gather(&ben, "Pond", "duck", 4);
    for farm in [&ada, &ben] {
        join(&server, farm, &server.invite(Some(ada.id())));
    }
    for farm in [&ada, &ben, &ada] {
        farm.sync().unwrap();
    }
    assert_same(&[&ada, &ben]);
    let healed = store::read(&*server.store, ada.id(), |log| log.counter()).unwrap();
    assert!(
        healed > known,
        "what was lost is back, and the new one is there"
    );
}

/// Years of records in many months, to a new phone: pages, months, and the log go together.
#[test]
fn a_new_phone_takes_a_long_history_while_others_go_on() {
    let server = Server::start();
    let ada = family(&server);
    let barn = ada
        .find(pointdown_core::record::Kind::Coop, "Barn")
        .unwrap();
    for month in 0..30i64 {
        for n in 0..4i64 {
            let at =
                pointdown_core::farm::Env::now(&System).ms() - (month * 30 * 24 + n) * 3_600_000;
            let mut gather =
                pointdown_core::record::Draft::new(pointdown_core::record::Kind::Gather)
                    .with("coop", barn.to_string())
                    .with("species", "hen")
                    .with("count", n);
            gather.at = Some(pointdown_core::record::Instant::from_ms(at));
            ada.log(gather).unwrap();
        }
    }
    ada.sync().unwrap();
    let ben = phone(&server, &ada, "Ben");
    gather(&ada, "Barn", "hen", 3);
    ada.sync().unwrap();
    ben.sync().unwrap();
    ada.sync().unwrap();
    assert_same(&[&ada, &ben]);
}

/// The real clock, moved.
struct Later(std::sync::atomic::AtomicI64);

impl Env for Later {
    fn now(&self) -> Instant {
        let moved = self.0.load(std::sync::atomic::Ordering::Relaxed);
        Instant::from_ms(System.now().ms() + moved)
    }

    fn fill(&self, bytes: &mut [u8]) {
        System.fill(bytes);
    }
}

#[test]
fn a_phone_takes_a_fresh_token_every_month() {
    let server = Server::start();
    let ada = family(&server);
    let env = Arc::new(Later(Default::default()));
    let link = Join {
        url: &server.url(""),
        invite: &ada.invite().unwrap(),
        device: "Ben’s phone",
    };
    let ben = Farm::join_new(&Location::Memory, env.clone(), &link, "Ben").unwrap();
    let tokens = || {
        let rows = server.store.devices(ada.id()).unwrap();
        let row = rows.into_iter().find(|d| d.name == "Ben’s phone").unwrap();
        (row.token, row.next_token)
    };
    let (first, none) = tokens();
    assert_eq!(none, None);
    let day = 24 * 60 * 60 * 1000;
    let wait = |days: i64| {
        env.0
            .store(days * day, std::sync::atomic::Ordering::Relaxed)
    };
    wait(29);
    ben.sync().unwrap();
    assert_eq!(tokens(), (first, None));
    wait(31);
    ben.sync().unwrap();
    let (old, fresh) = tokens();
    assert!(old == first && fresh.is_some(), "given, not used yet");
    ben.sync().unwrap();
    assert_eq!(tokens(), (fresh.unwrap(), None), "the old one is dead");
}
