use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::{Farm, FarmError};
use crate::store::Fault;

impl Farm {
    /// Lets the database fail at a place of the test's choosing, or lets it be again; the flag says
    /// whether it has failed since.
    pub fn fail_at(&self, fault: Option<Fault>) -> Result<Arc<AtomicBool>, FarmError> {
        Ok(self.lock().store.fail_at(fault)?)
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
