use rusqlite::ErrorCode;

/// Why the database could not be used. What was asked for did not happen at all.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another process has the database open.
    #[error("the database is open in another program; close that one first")]
    InUse,
    /// No room on the disk.
    #[error("the disk is full; nothing was saved")]
    Full,
    /// The file or its folder may not be written.
    #[error("the database cannot be written; check that the file and its folder allow it")]
    ReadOnly,
    /// The file is damaged, or no database.
    #[error("the database file is damaged or is no Pointdown database: {0}")]
    Damaged(String),
    /// The file could not be opened at all.
    #[error("the database cannot be opened: {0}")]
    CannotOpen(String),
    /// A later version of the program made it.
    #[error(
        "the database was made by a newer Pointdown (layout {found}, this one knows up to {known}); \
         update this program"
    )]
    TooNew {
        /// The layout of the file.
        found: u32,
        /// The newest layout that this program knows.
        known: u32,
    },
    /// Anything else that SQLite reports.
    #[error("the database reports: {0}")]
    Sql(rusqlite::Error),
}

impl From<rusqlite::Error> for StoreError {
    fn from(e: rusqlite::Error) -> StoreError {
        match e.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreError::InUse,
            Some(ErrorCode::DiskFull) => StoreError::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => StoreError::ReadOnly,
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                StoreError::Damaged(e.to_string())
            }
            Some(ErrorCode::CannotOpen) => StoreError::CannotOpen(e.to_string()),
            None if matches!(
                e,
                rusqlite::Error::FromSqlConversionFailure(..)
                    | rusqlite::Error::InvalidColumnType(..)
                    | rusqlite::Error::IntegralValueOutOfRange(..)
            ) =>
            {
                StoreError::Damaged(e.to_string())
            }
            _ => StoreError::Sql(e),
        }
    }
}
