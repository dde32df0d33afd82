//! What is decided at the kitchen screen is a record like a phone's, in a person's name.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use pointdown_core::farm::{Farm, Filter, Location, System};
use pointdown_core::record::Kind;
use pointdown_server::Config;
use pointdown_server::store::{Changed, Role, Sqlite};

use crate::kitchen::gather;
use crate::kitchen_pages::{Kitchen, between, logged_twice};
use crate::support::Server;
use crate::watched::Watched;

fn eggs(farm: &Farm) -> i64 {
    let today = farm.today().unwrap();
    farm.sheet(today, today).unwrap().gathered.eggs
}

#[test]
fn a_choice_made_here_is_a_record_like_a_phones_and_can_be_taken_back() {
    let server = Server::start();
    let (phone, other) = logged_twice(&server);
    let kitchen = Kitchen::enter(&server, &phone.invite().unwrap(), "decide");
    let today = kitchen.page("/kitchen");
    assert!(today.contains("<b>25</b>"), "{today}");
    let came = kitchen.choose("Take the round of 13 back");
    assert_eq!(came.status, 303, "{came:?}");
    assert!(
        came.to.starts_with("/kitchen/review?said=done&made="),
        "{came:?}"
    );
    for farm in [&phone, &other] {
        farm.sync().unwrap();
        assert_eq!(eggs(farm), 12);
        assert!(farm.review().unwrap().is_empty());
        assert!(farm.status().unwrap().agreed);
    }
    // In the person's name, from a device of its own, as every record.
    let void = came.to.split("made=").nth(1).unwrap();
    let row = phone.record(void.parse().unwrap()).unwrap().unwrap();
    assert_eq!(row.kind, "void");
    let names = phone.names().unwrap();
    let named = |field: &str| names[&row.fields[field].as_str().unwrap().parse().unwrap()].clone();
    assert_eq!(named("by"), "Ada");
    assert_eq!(named("device"), "Kitchen screen");
    assert!(kitchen.page("/kitchen").contains("<b>12</b>"));

    // The page offers to take it back, and only that.
    let said = kitchen.page(&came.to);
    assert_eq!(between(&said, "name=\"made\" value=\"", "\""), void);
    let gathered = phone.list(&Default::default()).unwrap();
    let foreign = gathered
        .iter()
        .find(|row| row.kind == "gather")
        .unwrap()
        .id
        .to_string();
    let refused = kitchen.form("/kitchen/undo", &[("made", &foreign)]);
    assert_eq!(refused.to, "/kitchen/review?said=changed");
    let undone = kitchen.form("/kitchen/undo", &[("made", void)]);
    assert!(undone.to.contains("said=undone"), "{undone:?}");
    phone.sync().unwrap();
    assert_eq!(eggs(&phone), 25);
    assert_eq!(phone.review().unwrap().len(), 1);
    assert!(phone.status().unwrap().agreed);
    // Decided once more, on the other phone: a page from before then changes nothing.
    let old = kitchen.choice("Both are right");
    let old: Vec<(&str, &str)> = old.iter().map(|(k, v)| (&**k, &**v)).collect();
    let line = phone.review().unwrap().remove(0);
    phone.decide(&line.line, &line.choices[0]).unwrap();
    phone.sync().unwrap();
    let head = server.store.head(phone.id()).unwrap();
    assert_eq!(
        kitchen.form("/kitchen/choose", &old).to,
        "/kitchen/review?said=changed"
    );
    assert_eq!(server.store.head(phone.id()).unwrap(), head);
}

#[test]
fn where_several_might_decide_somebody_has_to_say_who() {
    let server = Server::start();
    let (phone, _) = logged_twice(&server);
    let bea = pointdown_core::record::Draft::new(Kind::Person).with("name", "Bea");
    let bea = phone.log(bea).unwrap().id.to_string();
    phone.sync().unwrap();
    let mut kitchen = Kitchen::enter(&server, &phone.invite().unwrap(), "decide");
    assert!(kitchen.page("/kitchen/review").contains("disabled"));
    assert_eq!(
        kitchen.choose("Both are right").to,
        "/kitchen/review?said=who"
    );
    let came = kitchen.form("/kitchen/person", &[("person", &bea)]);
    assert_eq!((came.status, came.to.as_str()), (303, "/kitchen/review"));
    kitchen.cookie = format!("{}; pointdown_person={bea}", kitchen.cookie);
    assert!(!kitchen.page("/kitchen/review").contains("disabled"));
    let came = kitchen.choose("Both are right");
    let made = came.to.split("made=").nth(1).unwrap();
    phone.sync().unwrap();
    let row = phone.record(made.parse().unwrap()).unwrap().unwrap();
    assert_eq!(row.fields["by"], bea.as_str());
}

#[test]
fn what_did_not_get_into_the_log_before_a_crash_never_happened() {
    let folder = tempfile::tempdir().unwrap();
    let start = || {
        let store = Arc::new(Sqlite::open(folder.path()).unwrap());
        let config = Config {
            data: Some(folder.path().into()),
            ..Config::default()
        };
        Server::with(store, config)
    };
    let mut server = start();
    let (phone, _) = logged_twice(&server);
    let kitchen = Kitchen::enter(&server, &phone.invite().unwrap(), "decide");
    assert!(
        kitchen
            .choose("Take the round of 13 back")
            .to
            .contains("said=done")
    );
    assert!(kitchen.page("/kitchen").contains("<b>12</b>"));
    let (cookie, key) = (kitchen.cookie.clone(), kitchen.key.clone());
    server.stop();
    drop(server);
    // As if the process had ended between the record and the exchange.
    let replica = folder
        .path()
        .join("replicas")
        .join(phone.id().uuid().to_string());
    let farm = Farm::open(&Location::File(replica.join("farm.db")), Arc::new(System)).unwrap();
    gather(&farm, "Barn", "hen", 100);
    assert_eq!(farm.status().unwrap().waiting, 1);
    drop(farm);
    let server = start();
    let server = &server;
    let kitchen = Kitchen {
        server,
        cookie,
        key,
    };
    assert!(kitchen.page("/kitchen").contains("<b>12</b>"));
    // The replica was made anew, and follows like any other.
    gather(&phone, "Pond", "duck", 3);
    let address = server.url("");
    phone
        .joined(&address, &phone_token(server, &phone))
        .unwrap();
    phone.sync().unwrap();
    assert!(kitchen.page("/kitchen").contains("<b>15</b>"));
}

/// A token for a phone that follows the server to its new address.
fn phone_token(server: &Server, phone: &Farm) -> String {
    server.join(Some(phone.id())).token
}

#[test]
fn of_many_who_answer_one_line_at_once_one_decides() {
    let server = Server::start();
    let (phone, _) = logged_twice(&server);
    let kitchens: Vec<Kitchen<'_>> = (0..6)
        .map(|_| Kitchen::enter(&server, &phone.invite().unwrap(), "decide"))
        .collect();
    let choice = kitchens[0].choice("Both are right");
    let came: Vec<String> = std::thread::scope(|scope| {
        let all: Vec<_> = kitchens
            .iter()
            .map(|kitchen| {
                let choice = &choice;
                scope.spawn(move || {
                    let fields: Vec<_> = choice.iter().map(|(k, v)| (&**k, &**v)).collect();
                    kitchen.form("/kitchen/choose", &fields).to
                })
            })
            .collect();
        all.into_iter().map(|one| one.join().unwrap()).collect()
    });
    let done = came.iter().filter(|to| to.contains("said=done")).count();
    let late = came.iter().filter(|to| to.contains("said=changed")).count();
    assert_eq!((done, late), (1, 5), "{came:?}");
    phone.sync().unwrap();
    let decisions = phone.list(&Filter {
        kind: Some(Kind::Decision),
        ..Filter::default()
    });
    assert_eq!(decisions.unwrap().len(), 1);
    assert!(phone.status().unwrap().agreed);
}

#[test]
fn what_the_log_does_not_take_never_happened() {
    let store = Arc::new(Watched::default());
    let server = Server::with(store.clone(), Config::default());
    let (phone, _) = logged_twice(&server);
    let kitchen = Kitchen::enter(&server, &phone.invite().unwrap(), "decide");
    let head = server.store.head(phone.id()).unwrap();
    // Made a reader between the look at its role and the exchange.
    let device = server.store.devices(phone.id()).unwrap().pop().unwrap();
    let done = server
        .store
        .change_role(phone.id(), device.id, Role::Reader, None, 0);
    assert_eq!(done.unwrap(), Changed::Done);
    store.late.store(true, Ordering::Relaxed);
    let came = kitchen.choose("Take the round of 13 back");
    assert_eq!(came.to, "/kitchen/review?said=failed");
    assert_eq!(server.store.head(phone.id()).unwrap(), head);
    // The screen still shows what everyone has.
    assert!(kitchen.page("/kitchen").contains("<b>25</b>"));
    assert!(
        kitchen
            .page("/kitchen/review")
            .contains("Take the round of 13 back")
    );
    // With its role back it decides, from a replica that was made anew.
    let done = server
        .store
        .change_role(phone.id(), device.id, Role::Helper, None, 0);
    assert_eq!(done.unwrap(), Changed::Done);
    assert!(
        kitchen
            .choose("Take the round of 13 back")
            .to
            .contains("said=done")
    );
    phone.sync().unwrap();
    assert_eq!(eggs(&phone), 12);
    assert!(phone.status().unwrap().agreed);
}
