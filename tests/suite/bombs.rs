//! A few bytes that claim to be very much: refused before anyone begins to unfold them.
//!
//! The column specifications are those of the published description of the format
//! (<https://automerge.org/automerge-binary-format-spec/>).

use std::time::{Duration, Instant};

use automerge::sync::{ChunkList, Message, MessageVersion};
use pointdown_core::farm::ErrorKind;
use pointdown_core::ledger::{genesis, read_change};
use pointdown_core::record::DocName;
use pointdown_core::sync::peer::Envelope;
use pointdown_tests::fuzz::{MONTH, chunk};
use pointdown_tests::phone::Phone;

use crate::tamper::{calm, two};

const KEY: u8 = 0x15;
const INSERT: u8 = 0x34;
const ACTION: u8 = 0x42;
const VALUE: u8 = 0x56;
const PRED_COUNT: u8 = 0x70;
const PRED_ACTOR: u8 = 0x71;
const PRED_COUNTER: u8 = 0x73;

fn leb128(mut n: u64) -> Vec<u8> {
    let mut bytes = Vec::new();
    while n >= 0x80 {
        bytes.push(n as u8 | 0x80);
        n >>= 7;
    }
    bytes.push(n as u8);
    bytes
}

/// A run of the same value, its length as a number with a sign.
fn run(length: u64, value: &[u8]) -> Vec<u8> {
    let mut bytes = leb128(length);
    if bytes[bytes.len() - 1] & 0x40 != 0 {
        *bytes.last_mut().expect("a byte") |= 0x80;
        bytes.push(0);
    }
    bytes.extend(value);
    bytes
}

fn columns(columns: &[(u8, Vec<u8>)]) -> Vec<u8> {
    let mut bytes = leb128(columns.len() as u64);
    for (spec, data) in columns {
        bytes.push(*spec);
        bytes.extend(leb128(data.len() as u64));
    }
    bytes
}

/// The contents of a change that writes nothing under one key `ops` times, each time in place of
/// `preds` others.
fn writes(phone: &Phone, key: &str, ops: u64, preds: u64) -> Vec<u8> {
    let doc: DocName = MONTH.parse().expect("a name");
    let mut all = vec![1];
    all.extend(genesis(phone.farm.id(), &doc).hash.0);
    all.push(16);
    all.extend([9; 16]);
    // The first change, from the third operation on, at no time, no message, no other actors.
    all.extend([1, 3, 0, 0, 0]);
    let text = [leb128(key.len() as u64), key.as_bytes().to_vec()].concat();
    let mut of = vec![
        (KEY, run(ops, &text)),
        (INSERT, leb128(ops)),
        (ACTION, run(ops, &[1])),
        (VALUE, run(ops, &[0])),
        (PRED_COUNT, run(ops, &leb128(preds))),
    ];
    if preds > 0 {
        of.push((PRED_ACTOR, run(ops * preds, &[0])));
        of.push((PRED_COUNTER, run(ops * preds, &[1])));
    }
    all.extend(columns(&of));
    all.extend(of.into_iter().flat_map(|(_, data)| data));
    all
}

/// Refused at once, with nothing changed, for a reason that names what is wrong.
fn refused(phone: &Phone, what: &str, bytes: Vec<u8>, why: &str) {
    let doc: DocName = MONTH.parse().expect("a name");
    let before = phone.view();
    let began = Instant::now();
    let taken = calm(what, || phone.farm.take(&[(doc.clone(), bytes.clone())]));
    let error = taken.expect_err(what);
    assert_eq!(error.kind, ErrorKind::Damaged, "{what}");
    assert!(error.message.contains(why), "{what}: {error}");
    // The server reads changes with the same function.
    read_change(&doc, &bytes).expect_err(what);
    // Another phone may say it too, in either form of Automerge's protocol.
    for version in [MessageVersion::V1, MessageVersion::V2] {
        let message = Message {
            heads: Vec::new(),
            need: Vec::new(),
            have: Vec::new(),
            changes: ChunkList::from(vec![bytes.clone()]),
            flags: None,
            version,
        };
        let messages = vec![(doc.clone(), message.encode())];
        let said = Envelope::new(phone.farm.id(), Vec::new(), messages).encode();
        phone.farm.peer().listen(&said).expect_err(what);
    }
    assert!(began.elapsed() < Duration::from_secs(20), "{what}");
    assert_eq!(before, phone.view(), "{what}");
}

#[test]
fn a_change_of_endless_operations_is_refused() {
    let (_, phone) = two();
    for ops in [257, 65_537, 1 << 24, 1 << 40, 1 << 60] {
        let contents = writes(&phone, "x", ops, 0);
        assert!(contents.len() < 200, "it is small");
        for kind in [1, 2] {
            let what = format!("{ops} operations, type {kind}");
            refused(
                &phone,
                &what,
                chunk(kind, &contents),
                "operations; allowed are 256",
            );
        }
    }
    // The same form with few of them is taken, so that it is the number that is refused.
    let doc: DocName = MONTH.parse().expect("a name");
    let few = chunk(1, &writes(&phone, "x", 200, 0));
    assert_eq!(phone.farm.take(&[(doc, few)]).expect("a change").changes, 1);
    assert_eq!(
        phone.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
}

#[test]
fn a_change_in_place_of_endless_others_is_refused() {
    let (_, phone) = two();
    for preds in [1 << 20, 1 << 40] {
        let contents = writes(&phone, "x", 1, preds);
        refused(
            &phone,
            &preds.to_string(),
            chunk(1, &contents),
            "operations; allowed",
        );
    }
}

#[test]
fn a_long_key_again_and_again_is_refused() {
    let (_, phone) = two();
    let contents = writes(&phone, &"k".repeat(100_000), 60_000, 0);
    refused(&phone, "6 GB of keys", chunk(1, &contents), "more bytes");
}

#[test]
fn what_inflates_to_very_much_is_refused() {
    let (_, phone) = two();
    let mut contents = writes(&phone, "x", 1, 0);
    contents.resize(64 << 20, 0);
    let bytes = chunk(2, &contents);
    assert!(bytes.len() < 1_000_000, "{}", bytes.len());
    refused(&phone, "64 MB of nothing", bytes, "more bytes");
}

#[test]
fn a_document_of_endless_rows_is_refused() {
    let (_, phone) = two();
    let before = phone.view();
    for (spec, data) in [
        (ACTION, run(1 << 60, &[1])),
        (INSERT, leb128(1 << 60)),
        (KEY, [vec![0], leb128(1 << 60)].concat()),
    ] {
        // No actors, no heads, no columns of changes, one of operations.
        let mut contents = vec![0, 0, 0];
        contents.extend(columns(&[(spec, data.clone())]));
        contents.extend(data);
        let saved = chunk(0, &contents);
        let doc: DocName = MONTH.parse().expect("a name");
        let actor = pointdown_core::record::Actor([1; 16]);
        let began = Instant::now();
        let received =
            pointdown_core::ledger::Document::receive(phone.farm.id(), &doc, actor, &saved);
        let error = received.expect_err("endless").to_string();
        assert!(error.contains("operations; allowed"), "{error}");
        assert!(began.elapsed() < Duration::from_secs(5));
    }
    assert_eq!(before, phone.view());
}
