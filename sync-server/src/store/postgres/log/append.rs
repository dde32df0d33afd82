use pointdown_core::record::{Change, DocName, Id};
use tokio_postgres::types::ToSql;

use super::{For, PgLog};
use crate::store::postgres::natural;
use crate::store::{NewChange, StoreError};

impl PgLog<'_> {
    /// Adds changes and what they add up to.
    pub(super) fn add(
        &self,
        device: Id,
        changes: &[NewChange<'_>],
        now: i64,
    ) -> Result<u64, StoreError> {
        let first = self.draw(changes.len())?;
        let each = |of: fn(&Change) -> Vec<u8>| -> Box<dyn ToSql + Sync> {
            Box::new(changes.iter().map(|c| of(c.change)).collect::<Vec<_>>())
        };
        let numbers = |of: fn(&Change) -> u64| -> Box<dyn ToSql + Sync> {
            Box::new(
                changes
                    .iter()
                    .map(|c| of(c.change) as i64)
                    .collect::<Vec<_>>(),
            )
        };
        let docs: Vec<String> = changes
            .iter()
            .map(|c| c.change.doc.as_str().into())
            .collect();
        self.later(
            "INSERT INTO pointdown.change
                 (farm, device, taken_at, n, doc, hash, actor, seq, last_op, relayed, bytes)
             SELECT $1, $2, $3, $4 + place - 1, doc, hash, actor, seq, last_op, relayed, bytes
             FROM unnest($5::text[], $6::bytea[], $7::bytea[], $8::bigint[], $9::bigint[],
                     $10::boolean[], $11::bytea[]) WITH ORDINALITY
                 AS new (doc, hash, actor, seq, last_op, relayed, bytes, place)",
            vec![
                self.me(),
                Box::new(device.bytes().to_vec()),
                Box::new(now),
                Box::new(first as i64),
                Box::new(docs),
                each(|c| c.hash.0.to_vec()),
                each(|c| c.actor.0.to_vec()),
                numbers(|c| c.seq),
                numbers(|c| c.last_op),
                Box::new(changes.iter().map(|c| c.relayed).collect::<Vec<_>>()),
                each(|c| c.bytes.clone()),
            ],
        )?;
        let mut ahead = self.ahead.borrow_mut();
        let mut sums = self.docs.borrow_mut();
        let mut touched: Vec<&DocName> = Vec::new();
        for NewChange { change, .. } in changes {
            ahead.ops.remove(&(change.doc.clone(), change.hash));
            ahead.numbers.remove(&(change.doc.clone(), change.actor));
            sums.entry(change.doc.clone())
                .or_default()
                .add(&change.hash);
            touched.push(&change.doc);
        }
        touched.sort();
        touched.dedup();
        for doc in touched {
            let sum = sums.get(doc).copied().unwrap_or_default();
            self.keep_digest(doc, &sum)?;
        }
        Ok(first + changes.len() as u64 - 1)
    }

    /// The first number of some new changes.
    fn draw(&self, many: usize) -> Result<u64, StoreError> {
        let many = many as i64;
        if self.mode == For::WritingUnlocked {
            let key = self.farm.as_slice();
            // Visible to everyone at once, as what a sequence gives out.
            self.link.batch("COMMIT")?;
            let row = self.link.one(
                "UPDATE pointdown.farm SET n = n + $2 WHERE id = $1 RETURNING n",
                &[&key, &many],
            )?;
            self.link.batch("BEGIN")?;
            return Ok(natural(&row, 0)? - many as u64 + 1);
        }
        self.later(
            "UPDATE pointdown.farm SET n = n + $2 WHERE id = $1",
            vec![self.me(), Box::new(many)],
        )?;
        let first = self.n.get() + 1;
        self.n.set(self.n.get() + many as u64);
        Ok(first)
    }
}
