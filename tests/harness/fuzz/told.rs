//! What people and programs write: records, drafts, amendments, rules, single words.

use std::fmt::{Debug, Display};
use std::str::FromStr;

use automerge::{ROOT, ScalarValue, transaction::Transactable as _};
use pointdown_core::farm::Farm;
use pointdown_core::record::{
    DocName, Draft, Id, Instant, Kind, Lot, Record, Zone, decode, encode,
};
use pointdown_core::trade::Species;
use pointdown_core::trade::rules::RulePack;
use pointdown_core::trade::units::{Celsius, Range};
use pointdown_core::trade::wash::water;
use serde_json::Value;

use super::Outcome;
use super::bench::{Bench, MONTH, NOW};
use crate::raw::{Foreign, changes, empty, id};

/// The most records of one input.
const MOST: usize = 10;

/// The bytes of one record, read alone and then under an id in a change that is whole.
pub(super) fn record(input: &[u8]) -> Outcome {
    let id = id(NOW, 1);
    if let Ok(fields) = decode(input) {
        let again = decode(&encode(&fields)).expect("what was written is read");
        assert_eq!(again, fields);
        if let Ok(record) = Record::read(id, &fields) {
            let _ = record.consistent();
        }
    }
    Bench::with(|bench| {
        let mut foreign = Foreign::apart(bench.farm.id(), MONTH, 9);
        let change = foreign.write(|tx| {
            tx.put(ROOT, id.to_string(), ScalarValue::Bytes(input.to_vec()))
                .expect("a write");
        });
        Ok(bench.farm.take(&[change])?.changes > 0)
    })
}

/// Records of any content, as a JSON list. Each stands in a change of its own under `$0`, `$1` and so
/// on, where its id says; one with an `_as` of 1 is written by someone who saw none of the others.
/// In whatever order the two writers' changes come, the books are the same.
pub(super) fn book(input: &[u8]) -> Outcome {
    let Ok(Value::Array(all)) = serde_json::from_slice::<Value>(input) else {
        return Outcome::Refused;
    };
    if all.len() > MOST {
        return Outcome::Refused;
    }
    Bench::with(|bench| {
        let mut written = [Vec::new(), Vec::new()];
        let mut writers: Vec<((DocName, usize), Foreign)> = Vec::new();
        for (n, value) in all.into_iter().enumerate() {
            let Value::Object(mut fields) = bench.named(value) else {
                return Ok(false);
            };
            let who = usize::from(fields.remove("_as").is_some_and(|w| w == 1));
            let kind = fields.get("kind").and_then(Value::as_str);
            let kind = kind.and_then(Kind::from_code).unwrap_or(Kind::Gather);
            let key = id(NOW, n as u64);
            let doc = DocName::home(kind, key);
            let place = (doc.clone(), who);
            if !writers.iter().any(|(p, _)| *p == place) {
                let fresh = Foreign::apart(bench.farm.id(), doc.as_str(), 9 - who as u8);
                writers.push((place.clone(), fresh));
            }
            let writer = writers.iter_mut().find(|(p, _)| *p == place);
            let (_, writer) = writer.expect("it was pushed");
            written[who].push(writer.put(&[(key.to_string(), fields.into())]));
        }
        let [one, other] = written;
        if one.is_empty() && other.is_empty() {
            return Ok(false);
        }
        let base: Vec<_> = changes(&bench.farm)
            .into_iter()
            .map(|c| (c.doc, c.bytes))
            .collect();
        let turned: Farm = empty(bench.farm.id(), 8);
        for part in [&base, &other, &one] {
            turned.take(part).expect("whole changes");
        }
        for part in [&one, &other] {
            bench.farm.take(part).expect("whole changes");
        }
        let view = |farm: &Farm| farm.view().expect("a view");
        assert_eq!(
            view(&bench.farm),
            view(&turned),
            "one order against another"
        );
        Ok(true)
    })
}

/// A draft as JSON; one of kind `amend` or `void` goes the way of those.
pub(super) fn draft(input: &[u8]) -> Outcome {
    let Ok(mut draft) = serde_json::from_slice::<Draft>(input) else {
        return Outcome::Refused;
    };
    Bench::with(|bench| {
        draft.fields = bench.named_all(draft.fields);
        let logged = bench.farm.log(draft)?;
        let here = bench.farm.record(logged.id)?.expect("it was logged");
        assert_eq!(here.standing, "live", "a draft that is allowed stands");
        assert!(here.why.is_none(), "{here:?}");
        Ok(true)
    })
}

/// Rules that a farm set itself, and the water for an egg by them.
pub(super) fn rules(input: &[u8]) -> Outcome {
    let Ok(text) = std::str::from_utf8(input) else {
        return Outcome::Refused;
    };
    let Ok(pack) = RulePack::from_json(text) else {
        return Outcome::Refused;
    };
    let again = RulePack::from_json(&pack.to_json().expect("what was read is written"));
    assert_eq!(again.expect("and read again"), pack);
    for species in [Species::Hen, Species::Duck, Species::Quail] {
        for celsius in [-5.0, 0.0, 13.0, 25.0, 45.0] {
            let _ = water(species, Range::exact(Celsius(celsius)), &pack);
        }
    }
    Outcome::Taken
}

/// Single words as a command line or an address gives them: what is read is written and read the same.
pub(super) fn words(input: &[u8]) -> Outcome {
    let Ok(text) = std::str::from_utf8(input) else {
        return Outcome::Refused;
    };
    let read = [
        same::<Id>(text),
        same::<DocName>(text),
        same::<Instant>(text),
        same::<Lot>(text),
        same::<Zone>(text),
    ];
    if read.contains(&true) {
        return Outcome::Taken;
    }
    Outcome::Refused
}

fn same<T: FromStr + Display + PartialEq + Debug>(text: &str) -> bool {
    let Ok(read) = text.parse::<T>() else {
        return false;
    };
    let written = read.to_string();
    assert_eq!(
        written.parse::<T>().ok(),
        Some(read),
        "{text:?}, {written:?}"
    );
    true
}
