use chrono::NaiveDate;
use serde::Serialize;

use super::facade::Inner;
use super::take::project;
use super::{Farm, FarmError};
use crate::book::{Book, fold};
use crate::ledger::read_change;
use crate::record::{Actor, DocName, Entry, Id};
use crate::store::Store;

/// Changes of a document that stand alone before they are folded into its saved form.
const LOOSE: u64 = 256;

/// What a look over the whole database found; nothing wrong where `wrong` is empty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Check {
    /// Records that were looked at.
    pub records: usize,
    /// What does not hold, in words.
    pub wrong: Vec<String>,
}

/// The form of the book that this version makes. Raised with every new kind, rule or way of counting,
/// so that a book made by another version is made anew when it is opened.
pub(super) const VIEW: u32 = 1;

impl Farm {
    /// Makes the book anew from the changes.
    pub fn rebuild(&self) -> Result<(), FarmError> {
        let mut inner = self.lock();
        let entries = inner.all_entries()?;
        let farm = inner.me.farm;
        inner.write(|tx| {
            tx.forget_view()?;
            tx.forget_meta("setting")?;
            tx.set_meta("view", &VIEW)?;
            project(tx, farm, &entries)?;
            Ok(())
        })
    }

    /// Every row of the book as text, in a fixed order.
    pub fn view(&self) -> Result<Vec<String>, FarmError> {
        self.lock().store.read(|tx| Ok(tx.view()?))
    }

    /// Folds documents with many single changes into their saved form, which is far smaller.
    pub fn tidy(&self) -> Result<(), FarmError> {
        let mut inner = self.lock();
        let docs = inner.store.read::<_, FarmError>(|tx| Ok(tx.docs()?))?;
        for (doc, _) in docs {
            let loose = inner
                .store
                .read::<_, FarmError>(|tx| Ok(tx.loose_changes(&doc)?))?;
            if loose >= LOOSE {
                inner.fold(&doc)?;
            }
        }
        Ok(())
    }

    /// Caps the database file at so many pages of 4096 bytes. A log beyond it is refused as on a full
    /// disk, and changes nothing.
    pub fn cap(&self, pages: u32) -> Result<(), FarmError> {
        Ok(self.lock().store.cap(pages)?)
    }

    /// Looks the whole database over: SQLite's own check, the documents, the tables against one
    /// plain fold over all records, and every lot's eggs accounted for.
    pub fn check(&self) -> Result<Check, FarmError> {
        let mut inner = self.lock();
        let farm = inner.me.farm;
        look_over(&mut inner.store, farm)
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
    for (doc, (_, n)) in docs {
        let kept = store.read::<_, FarmError>(|tx| Ok(tx.load_doc(&doc)?))?;
        // Nothing is written into it, so it needs no actor of its own.
        match super::take::open(farm, &doc, Actor([1; 16]), &kept) {
            Ok(document) => {
                let here = document.changes().len() as u64;
                if here != n {
                    wrong.push(format!("document {doc}: {here} changes, {n} are counted"));
                }
            }
            Err(e) => wrong.push(e.to_string()),
        }
    }
    let (records, zone, balances, lines, view) = store.read::<_, FarmError>(|tx| {
        // Records are dated from 2000 to 2200.
        let last = NaiveDate::from_ymd_opt(2300, 1, 1).unwrap_or_default();
        let lines = tx.lines(NaiveDate::default(), last)?;
        let view: Option<u32> = tx.meta("view")?;
        Ok((tx.live_records()?, tx.zone()?, tx.balances()?, lines, view))
    })?;
    if view != Some(VIEW) {
        return Ok(Check {
            records: records.len(),
            wrong,
        });
    }
    let book = fold(&records, zone, None);
    if !book.conserved() {
        wrong.push("eggs came or went without a record".into());
    }
    let counted: crate::book::Balances = balances
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
    Ok(Check {
        records: records.len(),
        wrong,
    })
}

impl Inner {
    /// What every change wrote, the set-up facts first.
    fn all_entries(&mut self) -> Result<Vec<Entry>, FarmError> {
        let docs = self.store.read::<_, FarmError>(|tx| Ok(tx.docs()?))?;
        let mut all = Vec::new();
        for (doc, _) in docs {
            for bytes in self.read_document(&doc)?.changes() {
                all.extend(read_change(&doc, &bytes)?.1);
            }
        }
        Ok(all)
    }

    pub(super) fn fold(&mut self, doc: &DocName) -> Result<(), FarmError> {
        let saved = self.read_document(doc)?.save();
        self.write(|tx| Ok(tx.fold_doc(doc, &saved)?))
    }
}
