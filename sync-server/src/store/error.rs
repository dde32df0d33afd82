use rusqlite::ErrorCode;

/// Why the store could not do something. Nothing of it happened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// Another process holds the database for too long.
    #[error("the database is held by another program; close that one first")]
    InUse,
    /// No room on the disk.
    #[error("the disk is full; nothing was saved")]
    Full,
    /// The data folder may not be written.
    #[error("the data folder cannot be written; check its rights")]
    ReadOnly,
    /// The file is damaged, or no database of this server.
    #[error("the database is damaged or is no Pointdown server database: {0}")]
    Damaged(String),
    /// A later version of the server made it.
    #[error(
        "the database was made by a newer Pointdown server (layout {found}, this one knows up to \
         {known}); update this program"
    )]
    TooNew {
        /// The layout of the database.
        found: u32,
        /// The newest layout that this program knows.
        known: u32,
    },
    /// The farm is not kept here.
    #[error("this server keeps no such farm")]
    NoSuchFarm,
    /// Anything else that the database reports.
    #[error("the database reports: {0}")]
    Backend(String),
}

impl From<rusqlite::Error> for StoreError {
    fn from(e: rusqlite::Error) -> StoreError {
        match e.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreError::InUse,
            Some(ErrorCode::DiskFull) => StoreError::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => {
                StoreError::ReadOnly
            }
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                StoreError::Damaged(e.to_string())
            }
            _ => StoreError::Backend(e.to_string()),
        }
    }
}
