use pointdown_core::record::{DocName, Id};

use crate::exchange::document as document_of;
use crate::store::{self, DocParts, Store, StoreError};

/// How many days the bytes of a change are kept beside the document that holds them too: a phone
/// that was away for less goes on where it was, one that was away for longer gets whole documents.
pub const KEEP_DAYS: i64 = 90;

/// From this many changes on that a document's saved form lacks, a new form is made first.
const LOOSE: usize = 50;

/// What came of folding.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Compacted {
    /// Documents of which changes were folded.
    pub docs: usize,
    /// Bytes that became free.
    pub bytes: u64,
}

/// Folds the changes of a farm that were taken before a moment (milliseconds since 1970 UTC) into
/// the saved forms of their documents. Phones sync meanwhile as ever; no transaction lasts longer
/// than one document.
///
/// # Errors
/// Whatever the store reports. Everything that was done before stays done.
pub fn compact(store: &dyn Store, farm: Id, before: i64) -> Result<Compacted, StoreError> {
    let mut done = Compacted::default();
    // A document without changes after the last one that was folded was looked at then.
    let docs: Vec<DocName> = store::read(store, farm, |log| log.changed_since(log.folded()?))?;
    for name in docs {
        let mut saved = None;
        let mut parts = DocParts::default();
        store::read(store, farm, |log| {
            parts = log.doc(&name)?;
            Ok(())
        })?;
        if parts.changes.len() > LOOSE {
            let document = document_of(farm, &name, &parts)?;
            let bytes = document.save();
            // What nobody can read again must not take the place of what one can.
            let again = DocParts {
                saved: Some(bytes.clone()),
                ..Default::default()
            };
            if document_of(farm, &name, &again)?.changes() != document.changes() {
                let why = format!("the saved form of {name} does not hold its changes");
                return Err(StoreError::Damaged(why));
            }
            saved = Some((bytes, parts.upto));
        }
        let freed = store::write(store, farm, |log| {
            if let Some((bytes, upto)) = &saved {
                log.keep_saved(&name, bytes, *upto)?;
            }
            log.fold(&name, before)
        })?;
        if freed > 0 {
            done.docs += 1;
            done.bytes += freed;
        }
    }
    Ok(done)
}
