//! Changes that carry a right checksum and yet are none that an honest phone could have made: refused,
//! or taken without harm to the documents that they stand in.

use pointdown_core::farm::ErrorKind;
use pointdown_tests::phone::Phone;
use pointdown_tests::raw::changes;
use sha2::{Digest as _, Sha256};

use crate::tamper::{broken, calm, two};

/// The phone goes on, and what it holds still travels.
fn unharmed(phone: &Phone, what: &str) {
    let today = phone.farm.today().expect("a day");
    calm(what, || phone.gather("Orchard", "hen", 3));
    calm(what, || phone.farm.sheet(today, today)).expect(what);
    let check = calm(what, || phone.farm.check()).expect(what);
    assert_eq!(check.wrong, Vec::<String>::new(), "{what}");
    let file = calm(what, || phone.farm.export()).expect(what);
    let other = pointdown_tests::raw::empty(phone.farm.id(), 9);
    calm(what, || other.import(&file)).expect(what);
    assert_eq!(other.view().expect("a view"), phone.view(), "{what}");
}

#[test]
fn a_change_forged_in_its_numbers_poisons_nothing() {
    let (ada, ben) = two();
    let here: Vec<_> = changes(&ben.farm).iter().map(|c| c.hash).collect();
    ada.gather("Pond", "duck", 4);
    let new = changes(&ada.farm);
    let change = new
        .iter()
        .find(|c| !here.contains(&c.hash))
        .expect("a change");
    let read = automerge::Change::try_from(change.bytes.as_slice()).expect("a change");
    let honest = read.decode();
    let (mut taken, mut refused) = (0, 0);
    let fresh = automerge::ActorId::from([9u8; 16]);
    for start_op in [
        1,
        2,
        3,
        4,
        5,
        u64::from(u32::MAX) - 1,
        u64::from(u32::MAX),
        1 << 40,
        u64::MAX >> 1,
    ] {
        for (actor, seq) in [(fresh.clone(), 1), (honest.actor_id.clone(), honest.seq)] {
            let mut forged = honest.clone();
            forged.start_op = start_op.try_into().expect("not zero");
            forged.actor_id = actor;
            forged.seq = seq;
            let what = format!("start {start_op}, actor {} seq {seq}", forged.actor_id);
            let phone = ben.another("Copy");
            let before = phone.view();
            let bytes = calm(&what, || {
                automerge::Change::from(forged).raw_bytes().to_vec()
            });
            match calm(&what, || phone.farm.take(&[(change.doc.clone(), bytes)])) {
                Ok(_) => {
                    taken += 1;
                    unharmed(&phone, &what);
                }
                Err(_) => {
                    refused += 1;
                    assert_eq!(before, phone.view(), "{what}");
                }
            }
        }
    }
    assert!(taken > 0 && refused > 0, "{taken} taken, {refused} refused");
}

#[test]
fn a_change_forged_with_a_right_checksum_poisons_nothing() {
    let (ada, ben) = two();
    let here: Vec<_> = changes(&ben.farm).iter().map(|c| c.hash).collect();
    ada.gather("Pond", "duck", 4);
    let new = changes(&ada.farm);
    let change = new
        .iter()
        .find(|c| !here.contains(&c.hash))
        .expect("a change");
    let (mut taken, mut refused) = (0, 0);
    let mut phone = ben.another("Copy");
    for (what, mut bytes) in broken(&change.bytes).step_by(2) {
        if bytes.len() < 9 {
            continue;
        }
        let sum = Sha256::digest(&bytes[8..]);
        bytes[4..8].copy_from_slice(&sum[..4]);
        let before = phone.view();
        match calm(&what, || phone.farm.take(&[(change.doc.clone(), bytes)])) {
            Err(e) => {
                refused += 1;
                assert_eq!(e.kind, ErrorKind::Damaged, "{what}");
                assert_eq!(before, phone.view(), "{what}");
            }
            Ok(_) => {
                taken += 1;
                unharmed(&phone, &what);
                phone = ben.another("Copy");
            }
        }
    }
    assert!(taken > 0 && refused > 0, "{taken} taken, {refused} refused");
}

/// A saved document may carry changes that wait for what they build on. They are none of the farm's,
/// and must not appear later by themselves.
#[test]
fn a_document_with_waiting_changes_brings_only_what_is_whole() {
    use pointdown_tests::raw::{documents, empty};
    let (ada, _) = two();
    let first = ada.gather("Orchard", "hen", 3);
    let second = ada.gather("Orchard", "hen", 4);
    let all = changes(&ada.farm);
    let month: Vec<_> = all.iter().filter(|c| !c.doc.is_farm()).collect();
    let (last, before) = (month[month.len() - 1], month[month.len() - 2]);
    let doc = last.doc.clone();
    let mut plain = automerge::Automerge::new();
    let genesis = pointdown_core::ledger::genesis(ada.farm.id(), &doc);
    let change = |bytes: &[u8]| automerge::Change::try_from(bytes).expect("a change");
    plain
        .apply_changes([change(&genesis.bytes)])
        .expect("applied");
    for c in &month {
        if c.hash != before.hash {
            plain
                .apply_changes([change(&c.bytes)])
                .expect("applied or waiting");
        }
    }
    let saved = plain.save();

    // A bundle of the farm's own document and of this one.
    let file = ada.farm.export().expect("an export");
    let whole = documents(&file);
    let docs: Vec<ciborium::Value> = whole
        .iter()
        .map(|(name, bytes)| {
            let bytes = if *name == doc {
                saved.clone()
            } else {
                bytes.clone()
            };
            ciborium::Value::Array(vec![name.to_string().into(), ciborium::Value::Bytes(bytes)])
        })
        .collect();
    let mut bundle: ciborium::Value = ciborium::from_reader(&file[48..]).expect("CBOR");
    for (key, value) in bundle.as_map_mut().expect("a map") {
        if key.as_text() == Some("docs") {
            *value = ciborium::Value::Array(docs.clone());
        }
    }
    let mut body = Vec::new();
    ciborium::into_writer(&bundle, &mut body).expect("written");
    let mut forged = file[..16].to_vec();
    forged.extend(Sha256::digest(&body));
    forged.extend(body);

    let farm = empty(ada.farm.id(), 3);
    if farm.import(&forged).is_err() {
        assert!(
            farm.record(first).expect("a look").is_none(),
            "nothing of it was taken"
        );
        return;
    }
    assert!(farm.record(second).expect("a look").is_none());
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    // What was missing arrives, and then what waited for it.
    farm.take(&[(doc.clone(), before.bytes.clone())])
        .expect("a change");
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    farm.take(&[(doc, last.bytes.clone())]).expect("a change");
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
    assert_eq!(farm.view().expect("a view"), ada.view());
}
