use std::error::Error as _;

use rusqlite::ErrorCode;
use tokio_postgres::error::SqlState;

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
    /// The address of the database cannot be used.
    #[error("the address of the database cannot be used: {0}")]
    Address(String),
    /// The database does not answer.
    #[error("the database cannot be reached: {0}")]
    Unreachable(String),
    /// The transaction met another one, and the database let the other go first.
    #[error("the database put another transaction first; do it again")]
    Conflict,
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

impl From<tokio_postgres::Error> for StoreError {
    fn from(e: tokio_postgres::Error) -> StoreError {
        // PostgreSQL documentation, appendix A.
        match e.code() {
            Some(&SqlState::DISK_FULL) => StoreError::Full,
            Some(&SqlState::READ_ONLY_SQL_TRANSACTION) => StoreError::ReadOnly,
            Some(&SqlState::LOCK_NOT_AVAILABLE | &SqlState::QUERY_CANCELED) => StoreError::InUse,
            Some(&SqlState::T_R_SERIALIZATION_FAILURE | &SqlState::T_R_DEADLOCK_DETECTED) => {
                StoreError::Conflict
            }
            Some(&SqlState::DATA_CORRUPTED | &SqlState::INDEX_CORRUPTED) => {
                StoreError::Damaged(said(&e))
            }
            Some(
                &SqlState::ADMIN_SHUTDOWN
                | &SqlState::CRASH_SHUTDOWN
                | &SqlState::CANNOT_CONNECT_NOW
                | &SqlState::TOO_MANY_CONNECTIONS
                | &SqlState::IDLE_IN_TRANSACTION_SESSION_TIMEOUT,
            ) => StoreError::Unreachable(said(&e)),
            Some(_) => StoreError::Backend(said(&e)),
            // A value of another type than expected comes without a code, as a connection that ends.
            None if e.is_closed() || caused_by_io(&e) => StoreError::Unreachable(said(&e)),
            None => StoreError::Backend(said(&e)),
        }
    }
}

/// What went wrong, down to its cause.
fn said(e: &tokio_postgres::Error) -> String {
    let mut text = e.to_string();
    let mut cause = e.source();
    while let Some(e) = cause {
        let more = e.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        cause = e.source();
    }
    text
}

fn caused_by_io(e: &tokio_postgres::Error) -> bool {
    let mut cause = e.source();
    while let Some(e) = cause {
        if e.is::<std::io::Error>() {
            return true;
        }
        cause = e.source();
    }
    false
}
