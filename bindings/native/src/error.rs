use pointdown_core::farm::{ErrorKind, FarmError};
use pointdown_core::record::InvalidRecord;

/// Why nothing was done, or nothing more. `text` is for people; the kind is for programs.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum PointdownError {
    /// A field holds something that is not allowed.
    #[error("{text}")]
    Invalid {
        /// What happened, in words.
        text: String,
        /// The field to blame, where it is one.
        field: Option<String>,
        /// What it held.
        value: Option<String>,
        /// What is allowed.
        allowed: Option<String>,
    },
    /// Nothing of that name or id is here.
    #[error("{text}")]
    NotFound {
        /// What happened, in words.
        text: String,
    },
    /// More than one thing is meant.
    #[error("{text}")]
    Ambiguous {
        /// What happened, in words.
        text: String,
    },
    /// Another program has the database open.
    #[error("{text}")]
    InUse {
        /// What happened, in words.
        text: String,
    },
    /// The disk is full.
    #[error("{text}")]
    DiskFull {
        /// What happened, in words.
        text: String,
    },
    /// The database or a file cannot be read or written.
    #[error("{text}")]
    Storage {
        /// What happened, in words.
        text: String,
    },
    /// The database, document or message is damaged.
    #[error("{text}")]
    Damaged {
        /// What happened, in words.
        text: String,
    },
    /// It was made by a newer version.
    #[error("{text}")]
    TooNew {
        /// What happened, in words.
        text: String,
    },
    /// It belongs to another farm.
    #[error("{text}")]
    OtherFarm {
        /// What happened, in words.
        text: String,
    },
    /// The server cannot be reached.
    #[error("{text}")]
    Network {
        /// What happened, in words.
        text: String,
    },
    /// The server refused.
    #[error("{text}")]
    Refused {
        /// What happened, in words.
        text: String,
    },
    /// Not joined to a server.
    #[error("{text}")]
    NotJoined {
        /// What happened, in words.
        text: String,
    },
    /// Whoever asked for it stopped it.
    #[error("{text}")]
    Cancelled {
        /// What happened, in words.
        text: String,
    },
    /// The farm was closed here.
    #[error("{text}")]
    Closed {
        /// What happened, in words.
        text: String,
    },
    /// A kind that this version of the bindings does not know.
    #[error("{text}")]
    Other {
        /// What happened, in words.
        text: String,
    },
}

impl From<FarmError> for PointdownError {
    fn from(e: FarmError) -> PointdownError {
        let text = e.message;
        match e.kind {
            ErrorKind::Invalid => match e.invalid {
                Some(invalid) => PointdownError::Invalid {
                    text,
                    field: Some(invalid.field),
                    value: Some(invalid.value),
                    allowed: Some(invalid.allowed),
                },
                None => PointdownError::Invalid {
                    text,
                    field: None,
                    value: None,
                    allowed: None,
                },
            },
            ErrorKind::NotFound => PointdownError::NotFound { text },
            ErrorKind::Ambiguous => PointdownError::Ambiguous { text },
            ErrorKind::InUse => PointdownError::InUse { text },
            ErrorKind::DiskFull => PointdownError::DiskFull { text },
            ErrorKind::Storage => PointdownError::Storage { text },
            ErrorKind::Damaged => PointdownError::Damaged { text },
            ErrorKind::TooNew => PointdownError::TooNew { text },
            ErrorKind::OtherFarm => PointdownError::OtherFarm { text },
            ErrorKind::Network => PointdownError::Network { text },
            ErrorKind::Refused => PointdownError::Refused { text },
            ErrorKind::NotJoined => PointdownError::NotJoined { text },
            ErrorKind::Cancelled => PointdownError::Cancelled { text },
            _ => PointdownError::Other { text },
        }
    }
}

impl From<InvalidRecord> for PointdownError {
    fn from(e: InvalidRecord) -> PointdownError {
        FarmError::from(e).into()
    }
}
