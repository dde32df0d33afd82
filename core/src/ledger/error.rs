use crate::record::{DocName, Hash};

/// A document or change that cannot be used. Nothing was changed by it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LedgerError {
    /// The bytes are no change: cut short, tampered with, or something else.
    #[error("a change for document {doc} cannot be read: {why}")]
    BrokenChange {
        /// The document that it was said to be of.
        doc: DocName,
        /// What is wrong.
        why: String,
    },
    /// The bytes are no saved document of this farm and name.
    #[error("document {doc} cannot be read: {why}")]
    BrokenDocument {
        /// Which document.
        doc: DocName,
        /// What is wrong.
        why: String,
    },
    /// Changes that this one builds on are not here.
    #[error("a change for document {doc} builds on {} that are not here", missing.len())]
    Missing {
        /// Which document.
        doc: DocName,
        /// The changes that are missing.
        missing: Vec<Hash>,
    },
    /// Two changes of one actor with the same number: a copied or restored database.
    #[error("document {doc}: two copies of one database wrote apart under the same name")]
    Forked {
        /// Which document.
        doc: DocName,
    },
    /// A message of another phone that cannot be read.
    #[error("a message about document {doc} cannot be read")]
    BrokenMessage {
        /// Which document.
        doc: DocName,
    },
}
