//! The documents as any Automerge library sees them.

use std::collections::{BTreeMap, BTreeSet};

use automerge::{Automerge, ROOT, ReadDoc, ScalarValue, Value};
use pointdown_core::farm::{Farm, Filter};
use pointdown_core::ledger::{Document, genesis};
use pointdown_core::record::{Actor, DocName, Id, decode};
use pointdown_tests::phone::{Phone, gather, meet};
use pointdown_tests::raw::{documents, empty};

const NOW: &str = "2026-05-01T12:00:00Z";

fn name(text: &str) -> DocName {
    text.parse().expect("a name")
}

#[test]
fn the_genesis_is_the_same_everywhere_and_for_ever() {
    let farm = Id::from_bytes([0x42; 16]);
    let first = genesis(farm, &name("2026-05"));
    // Another actor, another document in memory, another day: the same change to the byte.
    for actor in [1, 2, 250] {
        let document = Document::new(farm, name("2026-05"), Actor([actor; 16]));
        assert_eq!(document.heads(), [first.hash]);
        let again = document.change(&first.hash).expect("its genesis");
        assert_eq!(again.bytes, first.bytes);
    }
    // Fixed by what older phones have on disk: this may never come out differently.
    let hashes: Vec<String> = ["farm", "2026-05", "2026-06"]
        .iter()
        .map(|doc| genesis(farm, &name(doc)).hash.to_string())
        .collect();
    assert_eq!(hashes, FIXED);
    assert_ne!(
        genesis(Id::from_bytes([0x43; 16]), &name("farm"))
            .hash
            .to_string(),
        FIXED[0]
    );
}

/// Written down from the first layout of the documents.
const FIXED: [&str; 3] = [
    "cc625e7fc8de86bc8f274059e9500188ee156d8972dce8594c7a103c0da9173d",
    "3538c5bd35eea439dd58fd367b3c260154103e89194304463b50910a815dfcd1",
    "ed9c48b2949cc00af9f5f2c0ecb6a7e816ff95e599f9c246af30b454adfeee04",
];

#[test]
fn phones_that_start_apart_build_on_one_root() {
    let ada = Phone::first("Ada", NOW, "America/Chicago");
    let (ben, cleo) = (ada.another("Ben"), ada.another("Cleo"));
    // Nobody has the month yet; each begins it alone.
    let mut all = BTreeSet::new();
    for (n, phone) in [&ada, &ben, &cleo].into_iter().enumerate() {
        for k in 0..4 {
            all.insert(phone.log(gather("Orchard", "hen", (n * 10 + k) as u32)));
        }
    }
    meet(&ben, &cleo);
    meet(&cleo, &ada);
    meet(&ada, &ben);
    for phone in [&ada, &ben, &cleo] {
        let mut here = phone.farm.list(&Filter::default()).expect("a list");
        here.retain(|row| row.kind == "gather");
        assert_eq!(here.iter().map(|r| r.id).collect::<BTreeSet<_>>(), all);
        for (doc, saved) in documents(&phone.farm.export().expect("an export")) {
            let plain = Automerge::load(&saved).expect("it opens");
            for key in plain.keys(ROOT) {
                let values = plain.get_all(ROOT, key.as_str()).expect("values");
                assert_eq!(values.len(), 1, "{doc} {key}: a rival");
            }
        }
    }
}

#[test]
fn plain_automerge_opens_a_document_and_shows_the_same_records() {
    let ada = Phone::first("Ada", NOW, "America/Chicago");
    let first = ada.gather("Orchard", "hen", 11);
    let set = [("count".to_string(), 12.into())].into_iter().collect();
    ada.farm.amend(first, set, None).expect("an amendment");
    let mut seen = BTreeMap::new();
    for (doc, saved) in documents(&ada.farm.export().expect("an export")) {
        let plain = Automerge::load(&saved).expect("it opens");
        let (id, _) = plain.get(ROOT, "_doc").expect("a look").expect("its id");
        assert_eq!(id.as_bytes().expect("bytes"), doc.id(ada.farm.id()).bytes());
        assert!(plain.get(ROOT, "_schema").expect("a look").is_some());
        for key in plain
            .keys(ROOT)
            .filter(|k| !k.starts_with("_doc") && !k.starts_with("_schema"))
        {
            let (value, _) = plain
                .get(ROOT, key.as_str())
                .expect("a look")
                .expect("a value");
            let Value::Scalar(scalar) = value else {
                panic!("{key} is no scalar")
            };
            let ScalarValue::Bytes(bytes) = scalar.as_ref() else {
                panic!("{key} is no bytes")
            };
            // Plain CBOR, read with the library itself and not with the project's own reader.
            let cbor: ciborium::Value = ciborium::from_reader(bytes.as_slice()).expect("CBOR");
            assert!(cbor.is_map());
            seen.insert(key, decode(bytes).expect("a record"));
        }
    }
    let all = Filter {
        all: true,
        ..Filter::default()
    };
    let rows = ada.farm.list(&all).expect("a list");
    assert_eq!(rows.len(), seen.len());
    for row in rows {
        let plain = &seen[&row.id.to_string()];
        if row.id == first {
            assert_eq!(
                (&plain["count"], &row.fields["count"]),
                (&11.into(), &12.into())
            );
        } else {
            assert_eq!(plain, &row.fields);
        }
    }
}

#[test]
fn a_document_answers_for_its_farm_and_month_only() {
    let ada = Phone::first("Ada", NOW, "America/Chicago");
    ada.gather("Orchard", "hen", 11);
    for (doc, saved) in documents(&ada.farm.export().expect("an export")) {
        let load = |farm, doc| Document::load(farm, doc, Actor([1; 16]), &saved);
        load(ada.farm.id(), doc.clone()).expect("it opens");
        assert!(load(ada.farm.id(), name("2026-07")).is_err());
        assert!(load(Id::from_bytes([1; 16]), doc).is_err());
    }
    let plain = Automerge::new();
    let load = Document::load(ada.farm.id(), name("farm"), Actor([1; 16]), &plain.save());
    assert!(load.is_err(), "a document without the genesis");
}

#[test]
fn changes_without_what_they_build_on_are_refused_by_name() {
    let ada = Phone::first("Ada", NOW, "America/Chicago");
    for n in 0..4 {
        ada.gather("Orchard", "hen", n);
    }
    let farm: Farm = empty(ada.farm.id(), 1);
    let all: Vec<_> = pointdown_tests::raw::changes(&ada.farm)
        .into_iter()
        .map(|c| (c.doc, c.bytes))
        .collect();
    let before = farm.view().expect("a view");
    let last = all.last().expect("a change").clone();
    let error = farm.take(&[last]).expect_err("something is missing");
    assert!(error.message.contains("not here"), "{error}");
    // Half of a batch is nothing of it.
    let mut batch = all.clone();
    batch.remove(1);
    farm.take(&batch).expect_err("something is missing");
    assert_eq!(before, farm.view().expect("a view"));
    assert_eq!(farm.take(&all).expect("all of it").changes, all.len());
    assert_eq!(farm.view().expect("a view"), ada.view());
}
