use crate::ledger::LedgerError;
use crate::record::InvalidRecord;
use crate::store::StoreError;
use crate::sync::SyncError;

/// What went wrong, as a stable word for programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ErrorKind {
    /// A field holds something that is not allowed.
    Invalid,
    /// Nothing of that name or id is here.
    NotFound,
    /// More than one thing is meant.
    Ambiguous,
    /// Another program has the database open.
    InUse,
    /// The disk is full.
    DiskFull,
    /// The database cannot be read or written.
    Storage,
    /// The database, document or message is damaged.
    Damaged,
    /// It was made by a newer version.
    TooNew,
    /// It belongs to another farm.
    OtherFarm,
    /// The server cannot be reached.
    Network,
    /// The server refused.
    Refused,
    /// Not joined to a server.
    NotJoined,
    /// Whoever asked for it stopped it.
    Cancelled,
}

/// An error for an app: a stable kind and a text for people. Nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct FarmError {
    /// The kind.
    pub kind: ErrorKind,
    /// What happened, in words.
    pub message: String,
    /// Field, value and what is allowed, where a field is to blame.
    pub invalid: Option<InvalidRecord>,
}

impl FarmError {
    /// An error of this kind.
    pub fn new(kind: ErrorKind, message: impl Into<String>) -> FarmError {
        FarmError {
            kind,
            message: message.into(),
            invalid: None,
        }
    }
}

impl From<InvalidRecord> for FarmError {
    fn from(e: InvalidRecord) -> FarmError {
        FarmError {
            kind: ErrorKind::Invalid,
            message: e.to_string(),
            invalid: Some(e),
        }
    }
}

impl From<StoreError> for FarmError {
    fn from(e: StoreError) -> FarmError {
        let kind = match e {
            StoreError::InUse => ErrorKind::InUse,
            StoreError::Full => ErrorKind::DiskFull,
            StoreError::Damaged(_) => ErrorKind::Damaged,
            StoreError::TooNew { .. } => ErrorKind::TooNew,
            _ => ErrorKind::Storage,
        };
        FarmError::new(kind, e.to_string())
    }
}

impl From<LedgerError> for FarmError {
    fn from(e: LedgerError) -> FarmError {
        FarmError::new(ErrorKind::Damaged, e.to_string())
    }
}

impl From<SyncError> for FarmError {
    fn from(e: SyncError) -> FarmError {
        let kind = match e {
            SyncError::OtherFarm => ErrorKind::OtherFarm,
            SyncError::Version { .. } => ErrorKind::TooNew,
            _ => ErrorKind::Damaged,
        };
        FarmError::new(kind, e.to_string())
    }
}
