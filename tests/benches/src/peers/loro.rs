use loro::{ExportMode, LoroDoc, LoroMap, LoroValue, ValueOrContainer, VersionVector};
use pointdown_core::record::Fields;
use serde_json::Value;

use super::Peer;
use crate::Outcome;

/// One Loro document.
pub struct Document(LoroDoc);

fn scalar(value: &Value) -> LoroValue {
    match value {
        Value::Null => LoroValue::Null,
        Value::Bool(b) => (*b).into(),
        Value::Number(n) => match n.as_i64() {
            Some(n) => n.into(),
            None => n.as_f64().unwrap_or(f64::NAN).into(),
        },
        Value::String(s) => s.as_str().into(),
        other => other.to_string().into(),
    }
}

impl Peer for Document {
    const NAME: &'static str = "Loro document";
    type Seen = VersionVector;

    fn fresh(actor: u64) -> Outcome<Self> {
        let document = LoroDoc::new();
        document.set_peer_id(actor)?;
        Ok(Document(document))
    }

    fn add(&mut self, id: &str, fields: &Fields) -> Outcome<()> {
        let record = self
            .0
            .get_map("records")
            .insert_container(id, LoroMap::new())?;
        for (name, value) in fields {
            record.insert(name, scalar(value))?;
        }
        self.0.commit();
        Ok(())
    }

    fn save(&mut self) -> Outcome<Vec<u8>> {
        Ok(self.0.export(ExportMode::Snapshot)?)
    }

    fn load(actor: u64, saved: &[u8]) -> Outcome<Self> {
        let document = Document::fresh(actor)?;
        document.0.import(saved)?;
        Ok(document)
    }

    fn gathered(&mut self, day: &str) -> Outcome<i64> {
        let mut sum = 0;
        let text = |record: &LoroMap, name: &str| match record.get(name) {
            Some(ValueOrContainer::Value(LoroValue::String(text))) => Some(text.to_string()),
            _ => None,
        };
        self.0.get_map("records").for_each(|_, record| {
            let ValueOrContainer::Container(loro::Container::Map(record)) = record else {
                return;
            };
            if text(&record, "kind").as_deref() == Some("gather")
                && text(&record, "day").is_some_and(|at| &*at == day)
                && let Some(ValueOrContainer::Value(LoroValue::I64(count))) = record.get("count")
            {
                sum += count;
            }
        });
        Ok(sum)
    }

    fn seen(&mut self) -> Self::Seen {
        self.0.oplog_vv()
    }

    fn since(&mut self, seen: &Self::Seen) -> Outcome<Vec<u8>> {
        Ok(self.0.export(ExportMode::updates(seen))?)
    }

    fn take(&mut self, changes: &[u8]) -> Outcome<()> {
        self.0.import(changes)?;
        Ok(())
    }
}
