//! What any store must hold to, as one suite over a function that makes one.

use std::collections::BTreeSet;
use std::sync::{Arc, Barrier};
use std::thread;

use pointdown_core::record::{Actor, Change, DocName, Hash, Id};
use pointdown_core::sync::Digest;
use pointdown_server::store::{
    self, Changed, Joined, NewChange, NewInvite, Registered, Role, Sqlite, Store, StoreError,
    VERSION,
};

use crate::support::{NOW, id, invite, joining, memory, new_device, new_farm, random};

pub(crate) fn change(doc: &str, actor: Actor, seq: u64) -> Change {
    Change {
        doc: doc.parse().unwrap(),
        hash: Hash(random()),
        actor,
        seq,
        deps: Vec::new(),
        made_at: NOW / 1000,
        first_op: seq,
        last_op: seq,
        bytes: random::<100>().to_vec(),
    }
}

pub(crate) fn append(store: &dyn Store, farm: Id, device: Id, changes: &[Change]) -> u64 {
    store::write(store, farm, |log| {
        let new: Vec<_> = changes
            .iter()
            .map(|change| NewChange {
                change,
                relayed: false,
            })
            .collect();
        log.append(device, &new, NOW)
    })
    .unwrap()
}

pub(crate) fn store_contract(make: impl Fn() -> Arc<dyn Store>) {
    log_and_digests(&*make());
    a_failed_transaction_leaves_nothing(&*make());
    a_change_twice_is_refused_by_the_store_itself(&*make());
    cursors_never_skip(make());
    documents_and_snapshots(&*make());
    invites_are_single_use(make());
    invites_lead_where_they_should(&*make());
    devices_and_actors(&*make());
    epochs(&*make());
    farms_are_apart(&*make());
    crate::contract_members::members_contract(&make);
}

fn log_and_digests(store: &dyn Store) {
    let (farm, device) = new_farm(store, &[]);
    let actor = Actor(random());
    let changes: Vec<Change> = (1..=5)
        .map(|n| change(if n % 2 == 0 { "farm" } else { "2026-11" }, actor, n))
        .collect();
    assert_eq!(append(store, farm, device, &changes[..3]), 3);
    assert_eq!(append(store, farm, device, &changes[3..]), 5);
    store::read(store, farm, |log| {
        assert_eq!(log.counter()?, 5);
        let all = log.after(0, usize::MAX)?;
        let numbers: Vec<u64> = all.iter().map(|c| c.n).collect();
        assert_eq!(numbers, [1, 2, 3, 4, 5]);
        for (logged, change) in all.iter().zip(&changes) {
            assert_eq!((&logged.doc, logged.hash), (&change.doc, change.hash));
            assert_eq!(logged.bytes, change.bytes);
            assert_eq!(
                log.last_op(&change.doc, &change.hash)?,
                Some(change.last_op)
            );
        }
        assert_eq!(log.after(3, usize::MAX)?.len(), 2);
        assert_eq!(log.after(5, usize::MAX)?.len(), 0);
        assert_eq!(log.after(u64::MAX, usize::MAX)?.len(), 0);
        assert_eq!(log.after(0, 250)?.len(), 2, "two changes of 100 bytes fit");
        assert_eq!(log.after(0, 1)?.len(), 1, "at least one");
        let mut whole = Digest::default();
        changes.iter().for_each(|c| whole.add(&c.hash));
        assert_eq!(log.digest()?, whole);
        let docs = log.docs()?;
        assert!(docs[0].doc.is_farm(), "the farm's own first");
        assert_eq!((docs[0].digest.n, docs[1].digest.n), (2, 3));
        let month: DocName = "2026-11".parse().unwrap();
        assert_eq!(log.actor_number(&month, &actor)?, 5);
        assert_eq!(log.actor_number(&month, &Actor(random()))?, 0);
        assert!(
            log.last_op(&month, &changes[1].hash)?.is_none(),
            "it is of the other one"
        );
        Ok(())
    })
    .unwrap();
}

fn a_failed_transaction_leaves_nothing(store: &dyn Store) {
    let (farm, device) = new_farm(store, &[]);
    let new = change("farm", Actor(random()), 1);
    let failed: Result<(), StoreError> = store::write(store, farm, |log| {
        let new = NewChange {
            change: &new,
            relayed: false,
        };
        log.append(device, &[new], NOW)?;
        log.heard(device, NOW)?;
        Err(StoreError::Full)
    });
    assert_eq!(failed, Err(StoreError::Full));
    let left = store::read(store, farm, |log| {
        Ok((log.counter()?, log.digest()?, log.after(0, 1000)?.len()))
    });
    assert_eq!(left, Ok((0, Digest::default(), 0)));
    assert_eq!(store.devices(farm).unwrap()[0].heard_at, None);
}

fn a_change_twice_is_refused_by_the_store_itself(store: &dyn Store) {
    let (farm, device) = new_farm(store, &[]);
    let once = change("farm", Actor(random()), 1);
    append(store, farm, device, std::slice::from_ref(&once));
    let fork = change("farm", once.actor, 1);
    for again in [&once, &fork] {
        let refused = store::write(store, farm, |log| {
            let new = NewChange {
                change: again,
                relayed: false,
            };
            log.append(device, &[new], NOW)
        });
        assert!(refused.is_err());
    }
    let counter = store::read(store, farm, |log| log.counter());
    assert_eq!(counter, Ok(1), "the counter went back with the transaction");
}

/// Eight writers, and a reader that follows with a cursor all the while and must see every change
/// once, in order, without a gap.
fn cursors_never_skip(store: Arc<dyn Store>) {
    const WRITERS: u64 = 8;
    const EACH: u64 = 25;
    let (farm, device) = new_farm(&*store, &[]);
    let start = Arc::new(Barrier::new(WRITERS as usize + 1));
    let writers: Vec<_> = (0..WRITERS)
        .map(|_| {
            let (store, start) = (store.clone(), start.clone());
            thread::spawn(move || {
                start.wait();
                let actor = Actor(random());
                for n in (1..=EACH).step_by(5) {
                    let some: Vec<_> = (n..n + 5).map(|n| change("farm", actor, n)).collect();
                    append(&*store, farm, device, &some);
                }
            })
        })
        .collect();
    start.wait();
    let mut cursor = 0;
    let mut seen = BTreeSet::new();
    while cursor < WRITERS * EACH {
        let page = store::read(&*store, farm, |log| log.after(cursor, 500)).unwrap();
        for logged in page {
            assert_eq!(logged.n, cursor + 1, "the cursor skipped a change");
            cursor = logged.n;
            assert!(seen.insert(logged.hash), "a change came twice");
        }
        assert!(
            cursor == WRITERS * EACH
                || !writers.iter().all(thread::JoinHandle::is_finished)
                || store::read(&*store, farm, |log| log.counter()).unwrap() == WRITERS * EACH,
            "writers ended early"
        );
    }
    writers.into_iter().for_each(|w| w.join().unwrap());
    let mut digest = Digest::default();
    seen.iter().for_each(|hash| digest.add(hash));
    let whole = store::read(&*store, farm, |log| log.digest());
    assert_eq!(whole, Ok(digest));
}

fn documents_and_snapshots(store: &dyn Store) {
    let (farm, device) = new_farm(store, &[]);
    let actor = Actor(random());
    let all: Vec<Change> = (1..=4).map(|n| change("2026-11", actor, n)).collect();
    append(store, farm, device, &all[..3]);
    let doc = &all[0].doc;
    let parts = store::read(store, farm, |log| log.doc(doc)).unwrap();
    assert_eq!((parts.saved, parts.changes.len(), parts.upto), (None, 3, 3));
    store::write(store, farm, |log| log.keep_saved(doc, b"saved", 3)).unwrap();
    append(store, farm, device, &all[3..]);
    let parts = store::read(store, farm, |log| log.doc(doc)).unwrap();
    assert_eq!(parts.saved.as_deref(), Some(&b"saved"[..]));
    assert_eq!((parts.changes, parts.upto), (vec![all[3].bytes.clone()], 4));
    // An older form that comes late replaces nothing.
    store::write(store, farm, |log| log.keep_saved(doc, b"older", 2)).unwrap();
    let parts = store::read(store, farm, |log| log.doc(doc)).unwrap();
    assert_eq!(parts.saved.as_deref(), Some(&b"saved"[..]));
}

/// Sixteen devices with one invite at the same moment: one gets in.
fn invites_are_single_use(store: Arc<dyn Store>) {
    let (farm, _) = new_farm(&*store, &[]);
    let code = invite(&*store, Some(farm));
    let start = Arc::new(Barrier::new(16));
    let racers: Vec<_> = (0..16)
        .map(|_| {
            let (store, start) = (store.clone(), start.clone());
            thread::spawn(move || {
                let joining = joining(code, None, &[]);
                start.wait();
                store.join(&joining).unwrap()
            })
        })
        .collect();
    let ends: Vec<Joined> = racers.into_iter().map(|r| r.join().unwrap()).collect();
    let got_in = ends.iter().filter(|e| **e == Joined::In(farm)).count();
    let too_late = ends.iter().filter(|e| **e == Joined::Used).count();
    assert_eq!((got_in, too_late), (1, 15));
    assert_eq!(store.devices(farm).unwrap().len(), 2);
}

fn invites_lead_where_they_should(store: &dyn Store) {
    let (a, _) = new_farm(store, &[]);
    let (b, _) = new_farm(store, &[]);
    let try_it = |code, farm| store.join(&joining(code, farm, &[])).unwrap();
    assert_eq!(try_it(random(), None), Joined::Unknown);
    let to_a = invite(store, Some(a));
    assert_eq!(
        try_it(to_a, Some(b)),
        Joined::OtherFarm,
        "keeps another farm"
    );
    assert_eq!(
        try_it(to_a, Some(a)),
        Joined::In(a),
        "the refusal spent nothing"
    );
    let open = invite(store, None);
    assert_eq!(
        try_it(open, Some(a)),
        Joined::Unknown,
        "A needs A's own invite"
    );
    let own = id();
    assert_eq!(
        try_it(open, Some(own)),
        Joined::In(own),
        "brings its own farm"
    );
    assert_eq!(try_it(open, None), Joined::Used);
    let mut screen = joining(invite(store, None), None, &[]);
    screen.begin = None;
    assert_eq!(store.join(&screen).unwrap(), Joined::Unknown);

    let late = NewInvite {
        code: random(),
        farm: Some(a),
        made_at: NOW - 10,
        expires: NOW,
        role: Role::Helper,
        by: None,
    };
    store.add_invite(&late).unwrap();
    assert_eq!(try_it(late.code, None), Joined::Expired);
    let nowhere = NewInvite {
        code: random(),
        farm: Some(id()),
        ..late
    };
    assert_eq!(store.add_invite(&nowhere), Err(StoreError::NoSuchFarm));
}

fn devices_and_actors(store: &dyn Store) {
    let actor = Actor(random());
    let (farm, first) = new_farm(store, &[actor]);
    let second = new_device(store, farm, &[]);
    let whose = |device, vouched| Registered { device, vouched };
    store::write(store, farm, |log| {
        assert_eq!(log.registered(&actor)?, Some(whose(first, false)));
        log.register(&actor, whose(second, false), NOW)?;
        assert_eq!(log.registered(&actor)?, Some(whose(first, false)), "first");
        let by_hand = Actor(random());
        assert_eq!(log.registered(&by_hand)?, None);
        log.register(&by_hand, whose(first, true), NOW)?;
        assert_eq!(log.registered(&by_hand)?, Some(whose(first, true)));
        log.register(&by_hand, whose(second, false), NOW)?;
        assert_eq!(log.registered(&by_hand)?, Some(whose(second, false)), "own");
        log.register(&by_hand, whose(first, true), NOW)?;
        assert_eq!(log.registered(&by_hand)?, Some(whose(second, false)));
        log.heard(second, NOW + 5)
    })
    .unwrap();
    let listed = store.devices(farm).unwrap();
    let row = listed.iter().find(|d| d.id == second).unwrap();
    assert_eq!((row.heard_at, row.revoked_at), (Some(NOW + 5), None));
    assert_eq!(store.device(&row.token).unwrap().as_ref(), Some(row));
    assert_eq!(store.device(&random()).unwrap(), None);
    let revoke = |farm, now| store.revoke(farm, second, Some(first), now);
    assert_eq!(revoke(id(), NOW), Ok(Changed::NoDevice), "another farm's");
    assert_eq!(revoke(farm, NOW + 6), Ok(Changed::Done));
    assert_eq!(revoke(farm, NOW + 7), Ok(Changed::NoDevice));
    let row = store.device(&row.token).unwrap().unwrap();
    assert_eq!(row.revoked_at, Some(NOW + 6));
}

fn epochs(store: &dyn Store) {
    let (farm, _) = new_farm(store, &[]);
    let first = store.epoch().unwrap();
    assert_ne!(first, [0; 16]);
    assert_eq!(store::read(store, farm, |log| log.epoch()), Ok(first));
    let second = store.new_epoch().unwrap();
    assert_ne!(first, second);
    assert_eq!(store.epoch(), Ok(second));
    let third = store::write(store, farm, |log| log.rotate_epoch()).unwrap();
    assert_eq!(store.epoch(), Ok(third));
    let undone: Result<(), _> = store::write(store, farm, |log| {
        log.rotate_epoch()?;
        Err(StoreError::Full)
    });
    assert_eq!((undone, store.epoch()), (Err(StoreError::Full), Ok(third)));
}

fn farms_are_apart(store: &dyn Store) {
    let actor = Actor(random());
    let (a, device) = new_farm(store, &[actor]);
    let (b, _) = new_farm(store, &[]);
    let one = change("farm", actor, 1);
    append(store, a, device, std::slice::from_ref(&one));
    store::write(store, b, |log| {
        assert_eq!((log.counter()?, log.docs()?.len()), (0, 0));
        assert_eq!(log.last_op(&one.doc, &one.hash)?, None);
        assert_eq!(log.registered(&actor)?, None);
        assert_eq!(log.doc(&one.doc)?.changes.len(), 0);
        log.heard(device, NOW)
    })
    .unwrap();
    assert_eq!(
        store.devices(a).unwrap()[0].heard_at,
        None,
        "not by way of b"
    );
    let nowhere = store::read(store, id(), |log| log.counter());
    assert_eq!(nowhere, Err(StoreError::NoSuchFarm));
    let mut farms = store.farms().unwrap();
    farms.sort();
    let mut made = vec![a, b];
    made.sort();
    assert_eq!(farms, made);
}

#[test]
fn sqlite_in_memory() {
    store_contract(memory);
}

#[test]
fn sqlite_in_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let n = std::sync::atomic::AtomicUsize::new(0);
    store_contract(|| {
        let n = n.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        Arc::new(Sqlite::open(&folder.path().join(n.to_string())).unwrap())
    });
}

#[test]
fn what_is_kept_is_there_after_opening_again() {
    let folder = tempfile::tempdir().unwrap();
    let store = Sqlite::open(folder.path()).unwrap();
    let (farm, device) = new_farm(&store, &[]);
    append(&store, farm, device, &[change("farm", Actor(random()), 1)]);
    let epoch = store.epoch().unwrap();
    let other = Sqlite::open(folder.path()).unwrap();
    assert_eq!(other.epoch(), Ok(epoch), "two programs, one database");
    drop(store);
    let counter = store::read(&other, farm, |log| log.counter());
    assert_eq!((counter, other.epoch()), (Ok(1), Ok(epoch)));
}

#[test]
fn a_newer_database_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    drop(Sqlite::open(folder.path()).unwrap());
    let file = folder.path().join("server.db");
    let raw = rusqlite::Connection::open(&file).unwrap();
    raw.pragma_update(None, "user_version", VERSION + 3)
        .unwrap();
    drop(raw);
    let refused = Sqlite::open(folder.path()).unwrap_err();
    let expected = StoreError::TooNew {
        found: VERSION + 3,
        known: VERSION,
    };
    assert_eq!(refused, expected);
    let raw = rusqlite::Connection::open(&file).unwrap();
    let version: u32 = raw
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .unwrap();
    assert_eq!(version, VERSION + 3);
}

#[test]
fn a_file_that_is_no_database_of_this_server_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("server.db"), [7u8; 9000]).unwrap();
    assert!(matches!(
        Sqlite::open(folder.path()),
        Err(StoreError::Damaged(_))
    ));
    let folder = tempfile::tempdir().unwrap();
    let raw = rusqlite::Connection::open(folder.path().join("server.db")).unwrap();
    raw.execute_batch("CREATE TABLE other (x)").unwrap();
    drop(raw);
    assert!(matches!(
        Sqlite::open(folder.path()),
        Err(StoreError::Damaged(_))
    ));
}
