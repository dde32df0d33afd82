//! A database that was copied with its whole disk, so that no note tells the copy: both write under
//! one actor, and nothing that either logged is lost.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use pointdown_core::farm::{Env, Farm, Location};
use pointdown_core::ledger::read_change;
use pointdown_core::record::{Id, Kind};
use pointdown_tests::phone::{Phone, TestEnv, at, gather};
use pointdown_tests::review::Server;
use serde_json::{Value, json};

fn open(path: &Path, seed: u64) -> Farm {
    let env: Arc<dyn Env> = TestEnv::new(at("2026-05-01T13:00:00Z"), 2_000_000 + seed);
    Farm::open(&Location::from(path), env).expect("it opens")
}

/// What the database remembers of itself.
fn me(path: &Path, edit: impl FnOnce(&mut Value)) -> Value {
    let sql = rusqlite::Connection::open(path).expect("a database");
    let text: String = sql
        .query_row("SELECT value FROM meta WHERE key = 'me'", [], |row| {
            row.get(0)
        })
        .expect("who this is");
    let mut me: Value = serde_json::from_str(&text).expect("JSON");
    edit(&mut me);
    sql.execute(
        "UPDATE meta SET value = ?1 WHERE key = 'me'",
        [me.to_string()],
    )
    .expect("written");
    me
}

fn log(farm: &Farm, count: u32) -> Id {
    farm.log(gather("Orchard", "hen", count))
        .expect("a gather")
        .id
}

fn actors(path: &Path) -> usize {
    me(path, |_| ())["actors"].as_array().expect("actors").len()
}

/// A phone that joined, and a copy of it that writes under the same actor.
fn copied(folder: &Path) -> (Server, Farm, Farm) {
    let (first, second) = (folder.join("first.db"), folder.join("second.db"));
    let ada = Phone::first_at(
        first.as_path().into(),
        "Ada",
        "2026-05-01T12:00:00Z",
        "America/Chicago",
    );
    ada.gather("Pond", "duck", 4);
    let server = Server::joined_by(&ada);
    server.sync(&ada, "2026-05-01T12:00:00Z");
    drop(ada);
    let actor = me(&first, |_| ())["actor"].clone();
    std::fs::copy(&first, &second).expect("a copy");
    // Opened once, the copy has a note of its own and a fresh actor; the old one is put back, as
    // if nothing had told it from the original.
    let copy = open(&second, 1);
    let person = copy.person().expect("a person");
    copy.write_as(person).expect("a write");
    drop(copy);
    me(&second, |me| me["actor"] = actor.clone());
    assert_eq!(me(&first, |_| ())["actor"], actor);
    let (first, second) = (open(&first, 2), open(&second, 3));
    assert_eq!(first.device(), second.device());
    (server, first, second)
}

/// Whether two databases hold two changes with one number of one actor.
fn clash(one: &Farm, other: &Farm) -> bool {
    let numbers = |farm: &Farm| -> BTreeMap<_, _> {
        let all = pointdown_tests::raw::changes(farm).into_iter();
        all.map(|loose| {
            let (change, _) = read_change(&loose.doc, &loose.bytes).expect("a change");
            ((change.doc, change.actor, change.seq), change.hash)
        })
        .collect()
    };
    let theirs = numbers(other);
    numbers(one)
        .iter()
        .any(|(number, hash)| theirs.get(number).is_some_and(|their| their != hash))
}

fn same(one: &Farm, other: &Farm) {
    assert_eq!(one.view().expect("a view"), other.view().expect("a view"));
    for farm in [one, other] {
        assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
        let status = farm.status().expect("a status");
        assert_eq!((status.waiting, status.refused), (0, Vec::<String>::new()));
        assert!(status.agreed);
    }
}

#[test]
fn what_both_copies_logged_under_one_number_reaches_the_server() {
    let folder = tempfile::tempdir().expect("a folder");
    let (server, one, other) = copied(folder.path());
    let mut all = vec![log(&one, 11), log(&one, 12)];
    all.extend([log(&other, 21), log(&other, 22), log(&other, 23)]);
    // A set-up fact too, and an amendment of what was written under the shared number.
    let coop = other.find(Kind::Coop, "Pond").expect("a coop");
    let set = |value: Value| value.as_object().expect("fields").clone();
    other
        .amend(coop, set(json!({"name": "Brook"})), None)
        .expect("an amendment");
    let amended = other
        .amend(all[2], set(json!({"count": 24})), None)
        .expect("an amendment");
    all.push(amended.id);
    assert!(clash(&one, &other));
    server.sync_farm(&one, "2026-05-01T13:00:00Z");
    server.sync_farm(&other, "2026-05-01T13:00:00Z");
    assert!(!clash(&one, &other));
    server.sync_farm(&one, "2026-05-01T13:00:00Z");
    same(&one, &other);
    for id in &all {
        for farm in [&one, &other] {
            assert!(farm.record(*id).expect("a look").is_some(), "{id} is lost");
        }
    }
    let row = one.record(all[2]).expect("a look").expect("a gather");
    assert_eq!(row.fields["count"], 24);
    assert!(one.find(Kind::Coop, "Brook").is_ok());
    assert_eq!(one.strays().expect("strays"), []);
    // From now on they are two: nothing is refused any more.
    log(&one, 31);
    log(&other, 32);
    for farm in [&one, &other, &one] {
        server.sync_farm(farm, "2026-05-01T13:00:00Z");
    }
    same(&one, &other);
    drop((one, other));
    assert_eq!(
        actors(&folder.path().join("first.db")),
        1,
        "the first keeps its own"
    );
    // The one from its first opening, and the one that it took when its changes were refused.
    assert_eq!(actors(&folder.path().join("second.db")), 3);
}

/// Where another phone took the copy's changes by hand and built on them, they are not taken out
/// from under it: they wait, and the status says why.
#[test]
fn what_another_phone_builds_on_is_left_as_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let (server, one, other) = copied(folder.path());
    log(&one, 11);
    let shared = log(&other, 21);
    assert!(clash(&one, &other));
    server.sync_farm(&one, "2026-05-01T13:00:00Z");
    let env: Arc<dyn Env> = TestEnv::new(at("2026-05-01T14:00:00Z"), 2_000_009);
    let file = other.export().expect("an export");
    let ben = Farm::from_export(&Location::Memory, env, &file).expect("a phone");
    let ada = ben.find(Kind::Person, "Ada").expect("a person");
    ben.write_as(ada).expect("someone who writes");
    ben.name_device("Ben's phone").expect("a device");
    log(&ben, 41);
    other
        .import(&ben.export().expect("an export"))
        .expect("an import");
    let before = other.view().expect("a view");
    let ask = other.sync_ask().expect("a message");
    let answer = server.answer(&ask, "2026-05-01T13:00:00Z");
    // Whatever comes of the exchange, nothing here is lost by it.
    let _ = other.sync_hear(&answer);
    assert_eq!(before, other.view().expect("a view"));
    assert!(other.record(shared).expect("a look").is_some());
    assert!(other.status().expect("a status").waiting > 0, "it waits");
}
