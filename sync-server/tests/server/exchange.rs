//! The server's half of the exchange, against the phone's half of the core.

use pointdown_core::ledger::{Document, genesis};
use pointdown_core::record::{Actor, Change, DocName, Id};
use pointdown_core::sync::{Answer, Ask, SyncError, VERSION, Why, pack, unpack};
use pointdown_server::exchange::{ExchangeError, exchange};
use pointdown_server::store::{self, Sqlite, Store};
use serde_bytes::ByteArray;

use crate::support::{NOW, Phone, memory, new_farm, random};

fn ask(changes: &[Change]) -> Ask {
    Ask {
        v: VERSION,
        epoch: None,
        cursor: 0,
        now: NOW,
        actors: Vec::new(),
        vouched: Vec::new(),
        pack: pack(changes.iter().map(|c| (&c.doc, c.bytes.as_slice()))),
        check: None,
        fetch: Vec::new(),
    }
}

fn answer(store: &dyn Store, phone: &Phone, ask: &Ask) -> Answer {
    let done = exchange(store, phone.farm, phone.device, &ask.encode(), NOW).unwrap();
    Answer::decode(&done.answer).unwrap()
}

fn counter(store: &dyn Store, farm: Id) -> u64 {
    store::read(store, farm, |log| log.counter()).unwrap()
}

#[test]
fn two_phones_converge() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let mut b = a.another(&*store);
    for n in 0..10 {
        a.log("2026-11", 60);
        b.log(if n % 2 == 0 { "2026-11" } else { "2026-10" }, 60);
        a.log("farm", 40);
    }
    a.sync(&*store);
    b.sync(&*store);
    a.sync(&*store);
    assert_eq!(a.hashes(), b.hashes());
    assert_eq!(counter(&*store, a.farm), 30);
    // From here on one message carries everything, both ways.
    a.log("2026-11", 60);
    assert_eq!(a.sync(&*store), 1);
    b.log("2026-11", 60);
    assert_eq!(b.sync(&*store), 1);
    assert_eq!(a.sync(&*store), 1);
    assert_eq!(a.hashes(), b.hashes());
}

#[test]
fn a_lost_answer_costs_nothing() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    a.sync(&*store);
    a.log("2026-11", 60);
    a.log("2026-11", 60);
    let message = a.ask();
    let first = exchange(&*store, a.farm, a.device, &message, NOW).unwrap();
    let again = exchange(&*store, a.farm, a.device, &message, NOW).unwrap();
    assert_eq!((first.taken, again.taken), (2, 0));
    assert_eq!((first.head, again.head), (2, 2));
    a.hear(&again.answer);
    assert!(a.outbox.is_empty());
    assert_eq!(a.hashes().values().map(Vec::len).sum::<usize>(), 2);
}

#[test]
fn what_a_phone_brought_does_not_come_back_in_the_same_answer() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let mut b = a.another(&*store);
    let theirs = b.log("2026-11", 60);
    b.sync(&*store);
    let mine = a.log("2026-11", 60);
    let answered = answer(&*store, &a, &ask(&[mine]));
    assert_eq!((answered.cursor, answered.more), (2, false));
    let came = unpack(&answered.pack).unwrap();
    assert_eq!(came.len(), 1);
    assert_eq!(came[0].1, [theirs.bytes]);
}

#[test]
fn a_missing_dependency_is_named() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let changes: Vec<Change> = (0..3).map(|_| a.log("2026-11", 30)).collect();
    let answered = answer(&*store, &a, &ask(&[changes[0].clone(), changes[2].clone()]));
    assert_eq!(answered.digest.n, 1, "the first one was taken");
    assert_eq!(answered.refused.len(), 1);
    let refusal = &answered.refused[0];
    assert_eq!(refusal.hash, Some(ByteArray::new(changes[2].hash.0)));
    let missing = vec![ByteArray::new(changes[1].hash.0)];
    assert_eq!(refusal.why, Why::Missing(missing));
    let answered = answer(&*store, &a, &ask(&changes));
    assert_eq!((answered.digest.n, answered.refused.len()), (3, 0));
}

#[test]
fn an_actor_that_nobody_registered_is_named() {
    let store = memory();
    let a = Phone::begin(&*store);
    let stranger = Actor(random());
    let mut far = Phone::new(a.farm, a.device, stranger);
    let change = far.log("2026-11", 30);
    let refused = answer(&*store, &a, &ask(std::slice::from_ref(&change))).refused;
    assert_eq!(
        refused[0].why,
        Why::Unregistered(ByteArray::new(stranger.0))
    );
    // A phone that got it by hand answers for it; it is noted as relayed.
    let vouching = Ask {
        vouched: vec![ByteArray::new(stranger.0)],
        ..ask(&[change])
    };
    let answered = answer(&*store, &a, &vouching);
    assert_eq!((answered.digest.n, answered.refused.len()), (1, 0));
}

#[test]
fn relayed_changes_are_noted_also_of_a_phone_that_was_shut_out() {
    let folder = tempfile::tempdir().unwrap();
    let store = Sqlite::open(folder.path()).unwrap();
    let mut a = Phone::begin(&store);
    let mut b = a.another(&store);
    let (own, relayed) = (a.log("2026-11", 30), b.log("2026-11", 30));
    store.revoke(b.farm, b.device, None, NOW).unwrap();
    let answered = answer(&store, &a, &ask(&[own.clone(), relayed.clone()]));
    assert_eq!((answered.digest.n, answered.refused.len()), (2, 0));
    let raw = rusqlite::Connection::open(folder.path().join("server.db")).unwrap();
    for (change, expected) in [(own, false), (relayed, true)] {
        let noted: bool = raw
            .query_row(
                "SELECT relayed FROM change WHERE hash = ?1",
                [change.hash.0],
                |row| row.get(0),
            )
            .unwrap();
        assert_eq!(noted, expected);
    }
}

#[test]
fn two_copies_of_one_database_are_told_apart() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let mut copy = Phone::new(a.farm, a.device, a.actor);
    let (first, fork) = (a.log("2026-11", 30), copy.log("2026-11", 30));
    assert_eq!(answer(&*store, &a, &ask(&[first])).refused.len(), 0);
    let answered = answer(&*store, &copy, &ask(std::slice::from_ref(&fork)));
    assert_eq!(answered.refused.len(), 1);
    assert_eq!(answered.refused[0].hash, Some(ByteArray::new(fork.hash.0)));
    assert_eq!(answered.refused[0].why, Why::Forked);
    assert_eq!(answered.digest.n, 1);
}

#[test]
fn tampered_changes_and_messages_change_nothing() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let change = a.log("2026-11", 80);
    for cut in [0, 1, 8, change.bytes.len() / 2, change.bytes.len() - 1] {
        let mut broken = change.clone();
        broken.bytes.truncate(cut);
        let answered = answer(&*store, &a, &ask(&[broken]));
        assert!(matches!(answered.refused[0].why, Why::Broken(_)), "{cut}");
    }
    for at in 0..change.bytes.len() {
        let mut broken = change.clone();
        broken.bytes[at] ^= 0x10;
        let answered = answer(&*store, &a, &ask(&[broken]));
        assert_eq!(answered.refused.len(), 1, "byte {at} was changed unseen");
    }
    let whole = ask(&[change]).encode();
    for cut in 0..whole.len() {
        let refused = exchange(&*store, a.farm, a.device, &whole[..cut], NOW);
        assert!(matches!(refused, Err(ExchangeError::Message(_))), "{cut}");
    }
    let mut longer = whole.clone();
    longer.push(0);
    assert!(exchange(&*store, a.farm, a.device, &longer, NOW).is_err());
    assert_eq!(counter(&*store, a.farm), 0);
    assert!(exchange(&*store, a.farm, a.device, &whole, NOW).is_ok());
    assert_eq!(counter(&*store, a.farm), 1);
}

#[test]
fn another_version_of_the_protocol_is_named() {
    let store = memory();
    let a = Phone::begin(&*store);
    let newer = Ask {
        v: VERSION + 1,
        ..ask(&[])
    };
    let refused = exchange(&*store, a.farm, a.device, &newer.encode(), NOW);
    let theirs = VERSION + 1;
    let expected = ExchangeError::Message(SyncError::Version { theirs });
    assert_eq!(refused, Err(expected));
}

#[test]
fn changes_of_another_farm_or_month_are_refused() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let (other, _) = new_farm(&*store, &[]);
    let mut elsewhere = Phone::new(other, a.device, a.actor);
    let foreign = elsewhere.log("2026-11", 30);
    let first = genesis(other, &foreign.doc).hash;
    let refused = answer(&*store, &a, &ask(&[foreign])).refused;
    let missing = vec![ByteArray::new(first.0)];
    assert_eq!(refused[0].why, Why::Missing(missing));
    let mut moved = a.log("2026-11", 30);
    moved.doc = "2026-12".parse().unwrap();
    let refused = answer(&*store, &a, &ask(&[moved])).refused;
    assert!(matches!(refused[0].why, Why::Missing(_)));
    assert_eq!(counter(&*store, a.farm), 0);
    // The first change of every document is the same on all devices and never travels.
    let mut root = genesis(a.farm, &DocName::farm());
    root.doc = DocName::farm();
    let refused = answer(&*store, &a, &ask(&[root])).refused;
    assert!(matches!(refused[0].why, Why::Broken(_)));
}

#[test]
fn the_log_comes_in_pages() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let mut b = a.another(&*store);
    a.sync(&*store);
    b.sync(&*store);
    // Random bytes do not shrink: 40 changes of 30 kB are five pages.
    for _ in 0..40 {
        a.log("2026-11", 30_000);
    }
    while !a.outbox.is_empty() {
        let some: Vec<Change> = a.outbox.drain(..8).collect();
        assert_eq!(answer(&*store, &a, &ask(&some)).refused.len(), 0);
    }
    let mut cursor = 0;
    let mut pages = 0;
    loop {
        let answered = answer(&*store, &b, &Ask { cursor, ..ask(&[]) });
        let bytes: usize = unpack(&answered.pack).unwrap()[0]
            .1
            .iter()
            .map(|b| b.len())
            .sum();
        assert!(bytes <= 256 * 1024, "{bytes}");
        assert!(answered.cursor > cursor);
        cursor = answered.cursor;
        pages += 1;
        if !answered.more {
            break;
        }
    }
    assert_eq!((cursor, pages), (40, 5));
    assert!(b.sync(&*store) >= 5);
    assert_eq!(b.hashes(), a.hashes());
}

#[test]
fn a_new_phone_gets_whole_documents_the_newest_month_first() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let months = ["2026-08", "2026-09", "2026-10", "2026-11"];
    a.log("farm", 100);
    for month in months {
        a.log(month, 40_000);
    }
    a.sync(&*store);
    let mut b = a.another(&*store);
    let done = exchange(&*store, b.farm, b.device, &b.ask(), NOW).unwrap();
    let answered = Answer::decode(&done.answer).unwrap();
    let came: Vec<&str> = answered.docs.iter().map(|d| d.doc.as_str()).collect();
    let lack: Vec<&str> = answered.lack.iter().map(DocName::as_str).collect();
    assert_eq!(came, ["farm", "2026-11", "2026-10"]);
    assert_eq!(lack, ["2026-09", "2026-08"]);
    assert_eq!((answered.cursor, answered.pack.len()), (5, 0));
    b.hear(&done.answer);
    // What another logs meanwhile in a month that is still to come waits for that month.
    a.log("2026-08", 50);
    a.sync(&*store);
    b.sync(&*store);
    assert_eq!(a.hashes(), b.hashes());
}

#[test]
fn many_changes_are_folded_into_a_saved_form_once() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    for _ in 0..250 {
        a.log("2026-11", 20);
    }
    a.sync(&*store);
    let doc: DocName = "2026-11".parse().unwrap();
    let parts = |store: &dyn Store| store::read(store, a.farm, |log| log.doc(&doc)).unwrap();
    assert_eq!(parts(&*store).changes.len(), 250);
    let mut b = a.another(&*store);
    b.sync(&*store);
    let folded = parts(&*store);
    assert_eq!((folded.changes.len(), folded.upto), (0, 250));
    let saved = folded.saved.unwrap();
    let document = Document::load(a.farm, doc.clone(), a.actor, &saved).unwrap();
    assert_eq!(document.changes().len(), 250);
    // Another new phone gets the saved form and what came after it.
    a.log("2026-11", 20);
    a.sync(&*store);
    let mut c = a.another(&*store);
    c.sync(&*store);
    assert_eq!(c.hashes(), a.hashes());
}

#[test]
fn phones_that_both_have_something_exchange_it_at_the_check() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    let mut b = a.another(&*store);
    a.log("2026-11", 20);
    a.sync(&*store);
    // b has changes that no outbox names, as after joining with a farm that is not new.
    b.log("2026-11", 20);
    b.log("2026-09", 20);
    b.outbox.clear();
    b.sync(&*store);
    a.sync(&*store);
    assert_eq!(a.hashes(), b.hashes());
    assert_eq!(counter(&*store, a.farm), 3);
}

/// A copy of the data folder is put back while phones already know more.
#[test]
fn an_older_copy_of_the_store_heals() {
    let folder = tempfile::tempdir().unwrap();
    let (live, copy) = (folder.path().join("live"), folder.path().join("copy"));
    let store = Sqlite::open(&live).unwrap();
    let mut a = Phone::begin(&store);
    let mut b = a.another(&store);
    for _ in 0..5 {
        a.log("2026-11", 20);
    }
    a.sync(&store);
    b.sync(&store);
    drop(store);
    std::fs::create_dir(&copy).unwrap();
    std::fs::copy(live.join("server.db"), copy.join("server.db")).unwrap();
    let store = Sqlite::open(&live).unwrap();
    a.log("2026-11", 20);
    b.log("2026-10", 20);
    b.sync(&store);
    a.sync(&store);
    drop(store);

    let store = Sqlite::open(&copy).unwrap();
    let before = store.epoch().unwrap();
    assert_eq!(counter(&store, a.farm), 5);
    // b logged and lost the signal; it comes first. Its cursor gives the old copy away.
    b.log("2026-10", 20);
    let done = exchange(&store, b.farm, b.device, &b.ask(), NOW).unwrap();
    assert!(done.store_was_older);
    assert_ne!(store.epoch().unwrap(), before);
    b.hear(&done.answer);
    b.sync(&store);
    let epoch = store.epoch().unwrap();
    a.sync(&store);
    b.sync(&store);
    assert_eq!(store.epoch().unwrap(), epoch, "once is enough");
    assert_eq!(a.hashes(), b.hashes());
    assert_eq!(counter(&store, a.farm), 8, "nothing lost, nothing doubled");
    assert_eq!(a.digest().n, 8);
}

/// The same where the one who restored says so, and the copy has grown past the phones' cursors.
#[test]
fn a_restore_that_is_announced_heals() {
    let store = memory();
    let mut a = Phone::begin(&*store);
    a.log("2026-11", 20);
    a.sync(&*store);
    // Only this phone has it: the store was restored to a time before.
    let lost = a.log("2026-11", 20);
    a.outbox.retain(|c| c.hash != lost.hash);
    store.new_epoch().unwrap();
    let mut b = a.another(&*store);
    b.log("2026-11", 20);
    b.log("2026-11", 20);
    b.sync(&*store);
    a.sync(&*store);
    b.sync(&*store);
    assert_eq!(a.hashes(), b.hashes());
    assert_eq!(counter(&*store, a.farm), 4);
}
