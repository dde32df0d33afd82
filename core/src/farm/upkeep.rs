use super::facade::Inner;
use super::take::project;
use super::{Farm, FarmError};
use crate::ledger::read_change;
use crate::record::{DocName, Entry};

/// Changes of a document that stand alone before they are folded into its saved form.
const LOOSE: u64 = 256;

/// The form of the book that this version makes. Raised with every new kind, rule or way of counting,
/// so that a book made by another version is made anew when it is opened.
pub(super) const VIEW: u32 = 2;

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
}

impl Inner {
    /// What every change wrote, the set-up facts first.
    pub(super) fn all_entries(&mut self) -> Result<Vec<Entry>, FarmError> {
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
