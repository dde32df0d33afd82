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
