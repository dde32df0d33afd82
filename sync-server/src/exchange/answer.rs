use std::collections::{BTreeMap, BTreeSet};

use pointdown_core::ledger::{Document, LedgerError};
use pointdown_core::record::{Actor, DocName, Hash, Id};
use pointdown_core::sync::{Answer, Ask, Digest, DocDigest, Saved, pack};
use serde_bytes::ByteBuf;

use crate::store::{DocParts, Log, StoreError};

/// About how many bytes of whole documents go into one answer; one document may be more. With all
/// around it a new phone's first answer stays under 100 kB.
const DOCS_PAGE: usize = 90_000;

/// About how many bytes of single changes go into one answer, before they are packed.
const LOG_PAGE: usize = 256 * 1024;

/// From this many changes on that are not in a document's saved form, a new form is kept.
const LOOSE: usize = 200;

/// The server writes nothing into documents; Automerge wants a name for whoever opens one.
const READER: Actor = Actor([0x5e; 16]);

/// A saved form worth keeping.
pub(super) struct Folded {
    pub(super) name: DocName,
    pub(super) saved: Vec<u8>,
    pub(super) upto: u64,
}

/// Fills in what the phone lacks. `pushed` are changes that it brought itself just now.
pub(super) fn fill(
    log: &dyn Log,
    farm: Id,
    ask: &Ask,
    same_epoch: bool,
    pushed: &BTreeSet<Hash>,
    answer: &mut Answer,
) -> Result<Vec<Folded>, StoreError> {
    let mine = log.docs()?;
    for doc in &mine {
        answer.digest.join(&doc.digest);
    }
    let head = log.counter()?;
    let mut page = DocPage {
        log,
        farm,
        bytes: 0,
        folded: Vec::new(),
    };
    if let Some(theirs) = &ask.check {
        // Everything up to here is in what is compared now; what comes later is in the log.
        answer.cursor = head;
        compare(&mine, theirs, answer);
        let differ = std::mem::take(&mut answer.lack);
        page.put(differ, answer)?;
    } else if !same_epoch {
        // The phone knows another log; it starts over with a check when it reads the epoch.
    } else if !ask.fetch.is_empty() {
        // Changes of the log may build on documents that are still to be fetched, so the log waits.
        answer.cursor = ask.cursor.min(head);
        answer.more = head > answer.cursor;
        let known: BTreeSet<&DocName> = mine.iter().map(|d| &d.doc).collect();
        let asked = ask.fetch.iter().filter(|d| known.contains(d)).cloned();
        page.put(asked.collect(), answer)?;
    } else if ask.cursor < log.folded()? {
        // Some of the changes after the cursor stand in their documents only.
        answer.cursor = head;
        page.put(log.changed_since(ask.cursor)?, answer)?;
    } else {
        after(log, ask.cursor, head, pushed, answer)?;
    }
    Ok(page.folded)
}

/// Holds both sides' digests against each other. Which side has more cannot be seen from them, so
/// where both have something both send.
fn compare(mine: &[DocDigest], theirs: &[DocDigest], answer: &mut Answer) {
    let empty = Digest::default();
    let known: BTreeMap<&DocName, &Digest> = theirs.iter().map(|d| (&d.doc, &d.digest)).collect();
    for DocDigest { doc, digest } in mine {
        let their = known.get(doc).copied().unwrap_or(&empty);
        if their == digest {
            continue;
        }
        answer.lack.push(doc.clone());
        if *their != empty {
            answer.want.push(doc.clone());
        }
    }
    let here: BTreeSet<&DocName> = mine.iter().map(|d| &d.doc).collect();
    for DocDigest { doc, digest } in theirs {
        if !here.contains(doc) && *digest != empty {
            answer.want.push(doc.clone());
        }
    }
}

/// The log after a cursor.
fn after(
    log: &dyn Log,
    cursor: u64,
    head: u64,
    pushed: &BTreeSet<Hash>,
    answer: &mut Answer,
) -> Result<(), StoreError> {
    let page = log.after(cursor, LOG_PAGE)?;
    answer.cursor = page.last().map_or(cursor.min(head), |last| last.n);
    answer.more = answer.cursor < head;
    answer.pack = pack(
        page.iter()
            .filter(|c| !pushed.contains(&c.hash))
            .map(|c| (&c.doc, c.bytes.as_slice())),
    );
    Ok(())
}

/// Makes a document of what the store has of it.
pub(crate) fn document(farm: Id, name: &DocName, parts: &DocParts) -> Result<Document, StoreError> {
    let damaged = |e: LedgerError| StoreError::Damaged(format!("{name}: {e}"));
    let mut document = match &parts.saved {
        Some(saved) => Document::load(farm, name.clone(), READER, saved),
        None => Ok(Document::new(farm, name.clone(), READER)),
    }
    .map_err(damaged)?;
    document
        .apply(parts.changes.iter().map(Vec::as_slice))
        .map_err(damaged)?;
    Ok(document)
}

/// Whole documents for one answer.
struct DocPage<'a> {
    log: &'a dyn Log,
    farm: Id,
    bytes: usize,
    folded: Vec<Folded>,
}

impl DocPage<'_> {
    /// Puts documents into the answer until the page is full, at least one; names the rest.
    fn put(&mut self, docs: Vec<DocName>, answer: &mut Answer) -> Result<(), StoreError> {
        for name in docs {
            if !answer.lack.is_empty() || self.bytes >= DOCS_PAGE {
                answer.lack.push(name);
                continue;
            }
            let saved = self.whole(&name)?;
            if self.bytes > 0 && self.bytes + saved.len() > DOCS_PAGE {
                answer.lack.push(name);
                continue;
            }
            self.bytes += saved.len();
            answer.docs.push(Saved {
                doc: name,
                bytes: ByteBuf::from(saved),
            });
        }
        Ok(())
    }

    /// A document in Automerge's saved form.
    fn whole(&mut self, name: &DocName) -> Result<Vec<u8>, StoreError> {
        let parts = self.log.doc(name)?;
        if let (Some(saved), true) = (&parts.saved, parts.changes.is_empty()) {
            return Ok(saved.clone());
        }
        let saved = document(self.farm, name, &parts)?.save();
        if parts.changes.len() > LOOSE {
            self.folded.push(Folded {
                name: name.clone(),
                saved: saved.clone(),
                upto: parts.upto,
            });
        }
        Ok(saved)
    }
}
