use std::collections::HashMap;

use futures_util::future::{try_join, try_join_all};
use pointdown_core::record::{Actor, Change, DocName, Hash};

use super::{PgLog, all, doc_name, registered};
use crate::store::postgres::link::Params;
use crate::store::postgres::{bytes, natural};
use crate::store::{Registered, StoreError};

/// Answers to questions that were asked ahead.
#[derive(Default)]
pub(super) struct Ahead {
    pub(super) ops: HashMap<(DocName, Hash), Option<u64>>,
    pub(super) numbers: HashMap<(DocName, Actor), u64>,
    pub(super) actors: HashMap<Actor, Option<Registered>>,
}

impl PgLog<'_> {
    /// Asks everything about some changes in one round trip.
    pub(super) fn look_ahead(&self, changes: &[Change]) -> Result<(), StoreError> {
        let mut ops: Vec<(&DocName, &Hash)> = Vec::new();
        let mut numbers: Vec<(&DocName, &Actor)> = Vec::new();
        for change in changes {
            ops.push((&change.doc, &change.hash));
            ops.extend(change.deps.iter().map(|dep| (&change.doc, dep)));
            numbers.push((&change.doc, &change.actor));
        }
        ops.sort();
        ops.dedup();
        numbers.sort();
        numbers.dedup();
        let mut actors: Vec<&Actor> = numbers.iter().map(|(_, actor)| *actor).collect();
        actors.sort();
        actors.dedup();
        let link = self.link;
        let (found_ops, found_numbers, found_actors) = (
            link.statement(
                "SELECT c.doc, c.hash, c.last_op
                 FROM unnest($2::text[], $3::bytea[]) AS asked (doc, hash)
                 JOIN pointdown.change c ON c.farm = $1 AND c.doc = asked.doc
                     AND c.hash = asked.hash",
            )?,
            link.statement(
                "SELECT asked.doc, asked.actor, (SELECT max(c.seq) FROM pointdown.change c
                     WHERE c.farm = $1 AND c.doc = asked.doc AND c.actor = asked.actor)
                 FROM unnest($2::text[], $3::bytea[]) AS asked (doc, actor)",
            )?,
            link.statement(
                "SELECT device, vouched, actor FROM pointdown.actor
                 WHERE farm = $1 AND actor = ANY ($2::bytea[])",
            )?,
        );
        let key = self.farm.as_slice();
        let op_docs: Vec<&str> = ops.iter().map(|(doc, _)| doc.as_str()).collect();
        let hashes: Vec<&[u8]> = ops.iter().map(|(_, hash)| hash.0.as_slice()).collect();
        let number_docs: Vec<&str> = numbers.iter().map(|(doc, _)| doc.as_str()).collect();
        let makers: Vec<&[u8]> = numbers.iter().map(|(_, a)| a.0.as_slice()).collect();
        let all_actors: Vec<&[u8]> = actors.iter().map(|a| a.0.as_slice()).collect();
        let client = link.client();
        let later = self.later.take();
        let (_, rows) = link.wait(async {
            let of_ops: Params<'_> = &[&key, &op_docs, &hashes];
            let of_numbers: Params<'_> = &[&key, &number_docs, &makers];
            let of_actors: Params<'_> = &[&key, &all_actors];
            try_join(
                all(client, &later),
                try_join_all([
                    client.query(&found_ops, of_ops),
                    client.query(&found_numbers, of_numbers),
                    client.query(&found_actors, of_actors),
                ]),
            )
            .await
        })?;
        let mut ahead = self.ahead.borrow_mut();
        for (doc, hash) in ops {
            ahead.ops.insert((doc.clone(), *hash), None);
        }
        for row in &rows[0] {
            let key = (doc_name(row.try_get(0)?)?, Hash(bytes(row, 1)?));
            ahead.ops.insert(key, Some(natural(row, 2)?));
        }
        for row in &rows[1] {
            let key = (doc_name(row.try_get(0)?)?, Actor(bytes(row, 1)?));
            let n: Option<i64> = row.try_get(2)?;
            ahead.numbers.insert(key, n.unwrap_or(0) as u64);
        }
        for actor in actors {
            ahead.actors.insert(*actor, None);
        }
        for row in &rows[2] {
            let actor = Actor(bytes(row, 2)?);
            ahead.actors.insert(actor, Some(registered(row)?));
        }
        Ok(())
    }
}
