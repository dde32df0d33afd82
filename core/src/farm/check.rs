use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::take::{Chosen, open, project};
use super::upkeep::VIEW;
use super::{Farm, FarmError};
use crate::book::{Balances, Book, fold};
use crate::ledger::{Document, read_change};
use crate::record::{Actor, DocName, Entry, Hash, Id};
use crate::store::Store;

/// What a look over the whole database found; nothing wrong where `wrong` is empty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Check {
    /// Records that were looked at.
    pub records: usize,
    /// What does not hold, in words.
    pub wrong: Vec<String>,
}

/// What a look over a database holds it against.
pub const HOLDS: [&str; 5] = [
    "the book is what the changes add up to, in whatever order they came",
    "eggs in are the eggs at stations, out, pulled and unaccounted for, lot by lot",
    "the file is whole, and every document opens with all its changes",
    "every change that waits for the server is here to be sent",
    "the review list is made of nothing but this book and these changes",
];

impl Farm {
    /// Looks the whole database over: SQLite's own check, the documents, and everything that
    /// [`HOLDS`] names.
    pub fn check(&self) -> Result<Check, FarmError> {
        let mut inner = self.lock();
        let farm = inner.me.farm;
        look_over(&mut inner.store, farm)
    }

    /// The part of [`Farm::check`] that is worked out from the tables alone: the eggs, the balances,
    /// the lines of the days and the outbox.
    pub fn check_book(&self) -> Result<Check, FarmError> {
        let mut wrong = Vec::new();
        let mut inner = self.lock();
        let (records, waiting) = book(&mut inner.store, &mut wrong)?;
        for (doc, hash) in waiting {
            if !inner.has(&doc, &hash)? {
                wrong.push(not_here(&hash));
            }
        }
        Ok(Check { records, wrong })
    }
}

/// See [`Farm::check`]. A book that another version made is made anew when it is opened, so its
/// tables are not held against the records.
pub(super) fn look_over(store: &mut Store, farm: Id) -> Result<Check, FarmError> {
    let mut wrong = Vec::new();
    if let Some(said) = store.integrity()? {
        wrong.push(format!("the file: {said}"));
    }
    let docs = store.read::<_, FarmError>(|tx| Ok(tx.docs()?))?;
    let mut documents: BTreeMap<DocName, Document> = BTreeMap::new();
    let mut entries = Vec::new();
    for (doc, (_, n)) in docs {
        let kept = store.read::<_, FarmError>(|tx| Ok(tx.load_doc(&doc)?))?;
        // Nothing is written into it, so it needs no actor of its own.
        match open(farm, &doc, Actor([1; 16]), &kept) {
            Ok(document) => {
                let changes = document.changes();
                if changes.len() as u64 != n {
                    let here = changes.len();
                    wrong.push(format!("document {doc}: {here} changes, {n} are counted"));
                }
                for bytes in &changes {
                    entries.extend(read_change(&doc, bytes)?.1);
                }
                documents.insert(doc, document);
            }
            Err(e) => wrong.push(e.to_string()),
        }
    }
    let view: Option<u32> = store.read::<_, FarmError>(|tx| Ok(tx.meta("view")?))?;
    if view != Some(VIEW) {
        let records = store.read::<_, FarmError>(|tx| Ok(tx.live_records()?))?;
        return Ok(Check {
            records: records.len(),
            wrong,
        });
    }
    let (records, waiting) = book(store, &mut wrong)?;
    for (doc, hash) in waiting {
        if !documents.get(&doc).is_some_and(|d| d.has(&hash)) {
            wrong.push(not_here(&hash));
        }
    }
    if wrong.is_empty() && !is_rebuilt_alike(store, farm, &entries)? {
        wrong.push("a book made anew from the changes is another one".into());
    }
    Ok(Check { records, wrong })
}

fn not_here(hash: &Hash) -> String {
    let hash = data_encoding::HEXLOWER.encode(&hash.0);
    format!("change {hash} waits for the server and is not here")
}

/// Holds the tables against one plain fold over all records. Gives how many there are, and the
/// changes that wait for the server.
fn book(
    store: &mut Store,
    wrong: &mut Vec<String>,
) -> Result<(usize, Vec<(DocName, Hash)>), FarmError> {
    let (records, zone, balances, lines, waiting) = store.read::<_, FarmError>(|tx| {
        // Records are dated from 2000 to 2200.
        let last = NaiveDate::from_ymd_opt(2300, 1, 1).unwrap_or_default();
        let lines = tx.lines(NaiveDate::default(), last)?;
        let waiting = tx.outbox(usize::MAX >> 1, true)?;
        Ok((
            tx.live_records()?,
            tx.zone()?,
            tx.balances()?,
            lines,
            waiting,
        ))
    })?;
    let book = fold(&records, zone, None);
    if !book.conserved() {
        wrong.push("eggs came or went without a record".into());
    }
    let counted: Balances = balances
        .into_iter()
        .map(|(place, lot, n)| ((place, lot), n))
        .collect();
    if counted != book.balances {
        wrong.push("the balances are not what the records add up to".into());
    }
    let mut days = Book::default();
    lines.into_iter().for_each(|line| days.count(line));
    if days.lines != book.lines {
        wrong.push("the lines of the days are not what the records add up to".into());
    }
    let waiting = waiting.into_iter().map(|unsent| (unsent.doc, unsent.hash));
    Ok((records.len(), waiting.collect()))
}

/// Whether the book comes out the same when it is made anew from the changes, in a transaction that
/// is undone.
fn is_rebuilt_alike(store: &mut Store, farm: Id, entries: &[Entry]) -> Result<bool, FarmError> {
    // Nothing commits here.
    store.read(|tx| {
        let before = (tx.view()?, tx.meta::<Chosen>("setting")?);
        tx.forget_view()?;
        tx.forget_meta("setting")?;
        project(tx, farm, entries)?;
        Ok(before == (tx.view()?, tx.meta("setting")?))
    })
}
