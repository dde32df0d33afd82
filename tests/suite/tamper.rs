//! Bytes that were cut short or changed on the way: refused with nothing changed, or harmless for a
//! reason that is said here. Nothing panics.

use std::panic::{AssertUnwindSafe, catch_unwind};

use pointdown_core::farm::{ErrorKind, Farm, FarmError};
use pointdown_core::ledger::{Document, read_change};
use pointdown_core::record::{Actor, DocName};
use pointdown_core::sync::{Answer, Ask, Digest, VERSION, pack};
use pointdown_tests::phone::{Phone, meet};
use pointdown_tests::raw::{changes, documents};
use sha2::{Digest as _, Sha256};

pub(crate) fn calm<T>(what: &str, work: impl FnOnce() -> T) -> T {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| panic!("{what} panicked"))
}

/// Every shorter form, then every form with one byte changed, in a few ways.
pub(crate) fn broken(bytes: &[u8]) -> impl Iterator<Item = (String, Vec<u8>)> + '_ {
    let cut = (0..bytes.len()).map(|n| (format!("cut at {n}"), bytes[..n].to_vec()));
    let flipped = (0..bytes.len()).flat_map(move |n| {
        [0x01u8, 0x80].into_iter().map(move |mask| {
            let mut bytes = bytes.to_vec();
            bytes[n] ^= mask;
            (format!("byte {n} ^ {mask:#x}"), bytes)
        })
    });
    let longer = [vec![0u8], bytes.to_vec()].into_iter().map(move |more| {
        let what = format!("{} bytes more", more.len());
        (what, [bytes, more.as_slice()].concat())
    });
    cut.chain(flipped).chain(longer)
}

/// A phone with some records and a second one that lacks the last of them.
pub(crate) fn two() -> (Phone, Phone) {
    let ada = Phone::first("Ada", "2026-05-01T12:00:00Z", "America/Chicago");
    ada.gather("Orchard", "hen", 11);
    let ben = ada.another("Ben");
    meet(&ada, &ben);
    (ada, ben)
}

#[test]
fn a_broken_change_is_refused() {
    let (ada, ben) = two();
    ada.gather("Pond", "duck", 4);
    let change = changes(&ada.farm)
        .into_iter()
        .find(|c| {
            let here: Vec<_> = changes(&ben.farm).iter().map(|c| c.hash).collect();
            !here.contains(&c.hash)
        })
        .expect("a change that Ben lacks");
    let before = ben.view();
    for (what, bytes) in broken(&change.bytes) {
        let refused = calm(&what, || ben.farm.take(&[(change.doc.clone(), bytes)]));
        let error = refused.expect_err(&what);
        assert_eq!(error.kind, ErrorKind::Damaged, "{what}");
    }
    assert_eq!(before, ben.view());
    // Under the name of another document the change builds on a genesis that is not there.
    for doc in ["farm", "2026-06"] {
        let doc: DocName = doc.parse().expect("a name");
        ben.farm
            .take(&[(doc, change.bytes.clone())])
            .expect_err("another document");
    }
    assert_eq!(before, ben.view());
    assert_eq!(
        ben.farm
            .take(&[(change.doc, change.bytes)])
            .expect("whole")
            .changes,
        1
    );
    assert_eq!(ada.view(), ben.view());
}

#[test]
fn a_broken_document_or_file_is_refused() {
    let (ada, ben) = two();
    ada.gather("Pond", "duck", 4);
    let file = ada.farm.export().expect("an export");
    let before = ben.view();
    for (what, bytes) in broken(&file) {
        let refused = calm(&what, || ben.farm.import(&bytes));
        assert_eq!(refused.expect_err(&what).kind, ErrorKind::Damaged, "{what}");
    }
    assert_eq!(before, ben.view());
    // The checksum aside: documents that are broken within.
    let actor = Actor([1; 16]);
    let mut harmless = 0;
    for (doc, saved) in documents(&file) {
        let whole = Document::load(ada.farm.id(), doc.clone(), actor, &saved).expect("whole");
        for (what, bytes) in broken(&saved) {
            let read = calm(&what, || {
                Document::load(ada.farm.id(), doc.clone(), actor, &bytes)
            });
            // Twice the same document is the document, and a byte may say nothing (unused bits at the
            // end of a deflated column): then every change of it is there by its own hash.
            if let Ok(read) = read {
                assert_eq!(read.changes(), whole.changes(), "{doc} {what}");
                harmless += 1;
            }
        }
    }
    assert!(harmless < 20, "{harmless}");
    ben.farm.import(&file).expect("whole");
    assert_eq!(ada.view(), ben.view());
}

#[test]
fn a_file_of_broken_documents_with_a_right_checksum_changes_nothing() {
    let (ada, ben) = two();
    ada.gather("Pond", "duck", 4);
    let file = ada.farm.export().expect("an export");
    let folder = tempfile::tempdir().expect("a folder");
    let genuine: Vec<_> = changes(&ada.farm)
        .iter()
        .chain(&changes(&ben.farm))
        .map(|c| c.hash)
        .collect();
    let mut phone = ben.another("Copy");
    let mut before = phone.view();
    let (mut refused, mut harmless) = (0, 0);
    for n in (48..file.len()).step_by(3) {
        let mut bytes = file.clone();
        bytes[n] ^= 0x11;
        let sum = Sha256::digest(&bytes[48..]);
        bytes[16..48].copy_from_slice(&sum);
        let what = format!("byte {n}");
        let own: Vec<_> = changes(&phone.farm).iter().map(|c| c.hash).collect();
        if calm(&what, || phone.farm.import(&bytes)).is_err() {
            refused += 1;
            assert_eq!(before, phone.view(), "{what}");
        } else {
            // A byte that says nothing, such as the unused bits at the end of a deflated column: what
            // was taken is what Ada wrote, change by change, by its own hash.
            harmless += 1;
            let now = changes(&phone.farm);
            assert!(
                now.iter()
                    .all(|c| own.contains(&c.hash) || genuine.contains(&c.hash))
            );
            assert_eq!(
                phone.farm.check().expect("a check").wrong,
                Vec::<String>::new()
            );
            phone = ben.another("Copy");
            before = phone.view();
        }
        // Neither does a new phone start from half of it.
        if n % 10 == 0 {
            let path = folder.path().join(format!("{n}.db"));
            let location = path.as_path().into();
            let started = Farm::from_export(&location, ben.env.clone(), &bytes);
            assert_eq!(started.is_ok(), path.exists(), "{what}");
        }
    }
    assert!(
        refused > 100 && harmless < 20,
        "{refused} refused, {harmless} harmless"
    );
    eprintln!("{refused} refused, {harmless} harmless");
}

fn answer(ada: &Phone, lacking: &Phone) -> Answer {
    let here: Vec<_> = changes(&lacking.farm).iter().map(|c| c.hash).collect();
    let new: Vec<_> = changes(&ada.farm)
        .into_iter()
        .filter(|c| !here.contains(&c.hash))
        .collect();
    let mut digest = Digest::default();
    for change in changes(&ada.farm) {
        digest.add(&pointdown_core::record::Hash(change.hash));
    }
    Answer {
        v: VERSION,
        epoch: serde_bytes::ByteArray::new([4; 16]),
        cursor: 9,
        more: false,
        now: 1_777_636_800_000,
        pack: pack(new.iter().map(|c| (&c.doc, c.bytes.as_slice()))),
        docs: Vec::new(),
        lack: Vec::new(),
        want: Vec::new(),
        refused: Vec::new(),
        digest,
    }
}

/// Hands an answer to a fresh copy of a phone that has asked.
fn hear(ben: &Phone, bytes: &[u8]) -> (Phone, Result<(), FarmError>) {
    let phone = ben.another("Ben");
    phone
        .farm
        .joined("http://127.0.0.1:1", "00")
        .expect("joined");
    phone.farm.sync_ask().expect("a message");
    let heard = phone.farm.sync_hear(bytes).map(|_| ());
    (phone, heard)
}

#[test]
fn a_broken_answer_is_refused_or_harmless() {
    let (ada, ben) = two();
    ada.gather("Pond", "duck", 4);
    let whole = answer(&ada, &ben).encode();
    let (phone, heard) = hear(&ben, &whole);
    heard.expect("the whole answer");
    let eggs = |phone: &Phone| {
        let view = phone.view();
        view.iter()
            .filter(|l| l.starts_with("balance|"))
            .cloned()
            .collect::<Vec<_>>()
    };
    let (with, without) = (eggs(&phone), eggs(&ben));
    assert_ne!(with, without);
    let (mut taken, mut refused) = (0, 0);
    for (what, bytes) in broken(&whole).step_by(5) {
        let (phone, heard) = calm(&what, || hear(&ben, &bytes));
        match heard {
            // A changed cursor, clock, epoch or digest reads well. The changes that came with it
            // are whole by their own hashes, so the book is right; and a cursor that is wrong
            // shows as a digest that differs, which makes the phone hold everything against the
            // server anew.
            Ok(()) => {
                taken += 1;
                let now = eggs(&phone);
                assert!(now == with || now == without, "{what}");
                assert_eq!(
                    phone.farm.check().expect("a check").wrong,
                    Vec::<String>::new()
                );
            }
            Err(e) => {
                refused += 1;
                assert!(
                    matches!(e.kind, ErrorKind::Damaged | ErrorKind::TooNew),
                    "{what}: {e}"
                );
                assert_eq!(eggs(&phone), without, "{what}");
                assert_eq!(
                    phone.farm.status().expect("status").heard_at,
                    None,
                    "{what}"
                );
            }
        }
    }
    assert!(
        refused > taken && taken > 0,
        "{refused} refused, {taken} taken"
    );
}

#[test]
fn an_answer_with_absurd_numbers_does_no_harm() {
    let (ada, ben) = two();
    for now in [i64::MIN, i64::MAX, 0] {
        for cursor in [0, u64::MAX] {
            let mut answer = answer(&ada, &ben);
            (answer.now, answer.cursor) = (now, cursor);
            answer.digest.n = u64::MAX;
            let bytes = answer.encode();
            let what = format!("now {now}, cursor {cursor}");
            let (phone, heard) = calm(&what, || hear(&ben, &bytes));
            heard.expect("it reads well");
            calm(&what, || phone.farm.sync_ask()).expect("a message");
            assert!(!phone.farm.status().expect("status").agreed, "{what}");
        }
    }
}

#[test]
fn a_broken_ask_is_refused_or_reads_as_another_one() {
    let (ada, _) = two();
    ada.farm.joined("http://127.0.0.1:1", "00").expect("joined");
    ada.gather("Pond", "duck", 4);
    let whole = ada.farm.sync_ask().expect("a message");
    Ask::decode(&whole).expect("it reads");
    for (what, bytes) in broken(&whole) {
        if let Ok(ask) = calm(&what, || Ask::decode(&bytes)) {
            let packed = calm(&what, || pointdown_core::sync::unpack(&ask.pack));
            for (doc, list) in packed.unwrap_or_default() {
                for bytes in list {
                    let _ = calm(&what, || read_change(&doc, &bytes));
                }
            }
        }
    }
}

#[test]
fn a_broken_envelope_is_refused_or_harmless() {
    let (ada, ben) = two();
    ada.gather("Pond", "duck", 4);
    ben.gather("Orchard", "hen", 7);
    // The third turn of Ada carries changes.
    let mut turn = 0;
    let talk = |tampered: Option<&[u8]>, ben: &Phone| -> Result<Vec<u8>, FarmError> {
        let (mut a, mut b) = (ada.farm.peer(), ben.farm.peer());
        let mut last = Vec::new();
        for _ in 0..2 {
            last = a.say()?;
            b.listen(&last)?;
            a.listen(&b.say()?)?;
        }
        let _ = last;
        let said = a.say()?;
        b.listen(tampered.unwrap_or(&said))?;
        Ok(said)
    };
    let probe = ben.another("Probe");
    let whole = talk(None, &probe).expect("a talk");
    let wrong = |phone: &Phone| phone.farm.check().expect("a check").wrong;
    let before = ben.view();
    let mut phone = ben.another("Ben");
    for (what, bytes) in broken(&whole).step_by(5) {
        turn += 1;
        if calm(&what, || talk(Some(&bytes), &phone)).is_ok() {
            // What reads well holds whole changes or none; digests only say what to look at.
            assert_eq!(wrong(&phone), Vec::<String>::new(), "{what}");
            phone = ben.another("Ben");
        }
    }
    assert!(turn > 100, "{turn}");
    assert_eq!(before, ben.view());
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
}
