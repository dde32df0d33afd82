use pointdown_core::record::Fields;
use serde_json::Value;
use yrs::any::Number;
use yrs::updates::decoder::Decode;
use yrs::{
    Any, ClientID, Doc, Map, MapPrelim, MapRef, Options, Out, ReadTxn, StateVector, Transact,
    Update,
};

use super::Peer;
use crate::Outcome;

/// One Yrs document.
pub struct Document {
    doc: Doc,
    records: MapRef,
}

fn scalar(value: &Value) -> Any {
    match value {
        Value::Null => Any::Null,
        Value::Bool(b) => Any::Bool(*b),
        Value::Number(n) => match n.as_i64() {
            Some(n) => Any::Number(Number::Int(n)),
            None => Any::Number(Number::Float(n.as_f64().unwrap_or(f64::NAN))),
        },
        Value::String(s) => Any::from(s.as_str()),
        other => Any::from(other.to_string()),
    }
}

impl Peer for Document {
    const NAME: &'static str = "Yrs document";
    type Seen = StateVector;

    fn fresh(actor: u64) -> Outcome<Self> {
        let doc = Doc::with_options(Options::with_client_id(ClientID::new(actor)));
        let records = doc.get_or_insert_map("records");
        Ok(Document { doc, records })
    }

    fn add(&mut self, id: &str, fields: &Fields) -> Outcome<()> {
        let record: MapPrelim = fields
            .iter()
            .map(|(name, value)| (name.clone(), scalar(value)))
            .collect();
        self.records
            .insert(&mut self.doc.transact_mut(), id, record);
        Ok(())
    }

    fn save(&mut self) -> Outcome<Vec<u8>> {
        let transaction = self.doc.transact();
        Ok(transaction.encode_state_as_update_v2(&StateVector::default()))
    }

    fn load(actor: u64, saved: &[u8]) -> Outcome<Self> {
        let mut document = Document::fresh(actor)?;
        document.take(saved)?;
        Ok(document)
    }

    fn gathered(&mut self, day: &str) -> Outcome<i64> {
        let transaction = self.doc.transact();
        let mut sum = 0;
        for (_, record) in self.records.iter(&transaction) {
            let Out::YMap(record) = record else { continue };
            let text = |name: &str| match record.get(&transaction, name) {
                Some(Out::Any(Any::String(text))) => Some(text),
                _ => None,
            };
            if text("kind").as_deref() == Some("gather")
                && text("day").is_some_and(|at| &*at == day)
                && let Some(Out::Any(Any::Number(Number::Int(count)))) =
                    record.get(&transaction, "count")
            {
                sum += count;
            }
        }
        Ok(sum)
    }

    fn seen(&mut self) -> Self::Seen {
        self.doc.transact().state_vector()
    }

    fn since(&mut self, seen: &Self::Seen) -> Outcome<Vec<u8>> {
        Ok(self.doc.transact().encode_state_as_update_v2(seen))
    }

    fn take(&mut self, changes: &[u8]) -> Outcome<()> {
        Ok(self
            .doc
            .transact_mut()
            .apply_update(Update::decode_v2(changes)?)?)
    }
}
