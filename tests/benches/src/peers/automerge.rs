use automerge::transaction::Transactable;
use automerge::{
    ActorId, AutoCommit, ChangeHash, ObjType, ROOT, ReadDoc, ScalarValue, Value as Read,
};
use pointdown_core::record::Fields;
use serde_json::Value;

use super::Peer;
use crate::Outcome;

/// One plain Automerge document.
pub struct Plain(AutoCommit);

fn scalar(value: &Value) -> ScalarValue {
    match value {
        Value::Null => ScalarValue::Null,
        Value::Bool(b) => (*b).into(),
        Value::Number(n) => match n.as_i64() {
            Some(n) => n.into(),
            None => n.as_f64().unwrap_or(f64::NAN).into(),
        },
        Value::String(s) => s.as_str().into(),
        other => other.to_string().into(),
    }
}

impl Peer for Plain {
    const NAME: &'static str = "Automerge document";
    type Seen = Vec<ChangeHash>;

    fn fresh(actor: u64) -> Outcome<Self> {
        Ok(Plain(
            AutoCommit::new().with_actor(ActorId::from(actor.to_be_bytes())),
        ))
    }

    fn add(&mut self, id: &str, fields: &Fields) -> Outcome<()> {
        let record = self.0.put_object(ROOT, id, ObjType::Map)?;
        for (name, value) in fields {
            self.0.put(&record, name, scalar(value))?;
        }
        self.0.commit();
        Ok(())
    }

    fn save(&mut self) -> Outcome<Vec<u8>> {
        Ok(self.0.save())
    }

    fn load(actor: u64, saved: &[u8]) -> Outcome<Self> {
        let mut document = AutoCommit::load(saved)?;
        document.set_actor(ActorId::from(actor.to_be_bytes()));
        Ok(Plain(document))
    }

    fn gathered(&mut self, day: &str) -> Outcome<i64> {
        let mut sum = 0;
        for item in self.0.map_range(ROOT, ..) {
            let record = item.id();
            let text = |name: &str| -> Outcome<Option<String>> {
                Ok(self
                    .0
                    .get(&record, name)?
                    .and_then(|(value, _)| match value {
                        Read::Scalar(value) => value.as_str().map(str::to_string),
                        Read::Object(_) => None,
                    }))
            };
            if text("kind")?.as_deref() == Some("gather")
                && text("day")?.is_some_and(|at| &*at == day)
                && let Some((value, _)) = self.0.get(&record, "count")?
            {
                sum += value.as_i64().unwrap_or(0);
            }
        }
        Ok(sum)
    }

    fn seen(&mut self) -> Self::Seen {
        self.0.get_heads()
    }

    fn since(&mut self, seen: &Self::Seen) -> Outcome<Vec<u8>> {
        Ok(self.0.save_after(seen))
    }

    fn take(&mut self, changes: &[u8]) -> Outcome<()> {
        self.0.load_incremental(changes)?;
        Ok(())
    }
}
