use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::{Farm, FarmError};
use crate::ledger::read_change;
use crate::record::Id;
use crate::store::Fault;
use crate::sync::Digest;

impl Farm {
    /// Lets the database fail at a place of the test's choosing, or lets it be again; the flag says
    /// whether it has failed since.
    pub fn fail_at(&self, fault: Option<Fault>) -> Result<Arc<AtomicBool>, FarmError> {
        Ok(self.lock().store.fail_at(fault)?)
    }

    /// Rows that were written since the database was opened: the same number as long as nothing
    /// changes.
    pub fn rows_written(&self) -> u64 {
        self.lock().store.rows_written()
    }

    /// A fingerprint of [`Farm::view`] that costs less than its text.
    pub fn view_sum(&self) -> Result<u64, FarmError> {
        self.lock().store.read(|tx| Ok(tx.view_sum()?))
    }

    /// The ids of all records, however they stand.
    pub fn record_ids(&self) -> Result<BTreeSet<Id>, FarmError> {
        self.lock().store.read(|tx| Ok(tx.record_ids()?))
    }

    /// The keys of what the changes that wait for the server write: most are ids of records.
    pub fn on_its_way(&self) -> Result<BTreeSet<String>, FarmError> {
        let mut inner = self.lock();
        let waiting = inner
            .store
            .read::<_, FarmError>(|tx| Ok(tx.outbox(usize::MAX >> 1, true)?))?;
        let mut keys = BTreeSet::new();
        for unsent in waiting {
            if let Some(change) = inner.change_of(&unsent)? {
                let (_, entries) = read_change(&unsent.doc, &change.bytes)?;
                keys.extend(entries.into_iter().map(|entry| entry.key));
            }
        }
        Ok(keys)
    }

    /// A digest of all changes here: two phones with the same one hold the same set.
    pub fn digest(&self) -> Result<Digest, FarmError> {
        let mut all = Digest::default();
        let mut inner = self.lock();
        let docs = inner.store.read::<_, FarmError>(super::exchange::digests)?;
        docs.iter().for_each(|doc| all.join(&doc.digest));
        Ok(all)
    }

    /// Folds every document into its saved form, however few single changes it has.
    pub fn fold_all(&self) -> Result<(), FarmError> {
        let mut inner = self.lock();
        let docs = inner.store.read::<_, FarmError>(|tx| Ok(tx.docs()?))?;
        for (doc, _) in docs {
            inner.fold(&doc)?;
        }
        Ok(())
    }
}
