use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::doctor::{Finding, Verdict, examine};
use crate::store::{Sqlite, Store as _, StoreError, private_folder};

/// The database in a data folder and in a backup.
const DATABASE: &str = "server.db";

/// The folder with the server's own certificate: without its key no phone would know it again.
const TLS: &str = "tls";

/// Why a backup was not made or not restored.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The store reports a failure.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file cannot be read or written.
    #[error("{path}: {why}")]
    File {
        /// Which one.
        path: PathBuf,
        /// Why.
        why: io::Error,
    },
    /// There is something already where the copy should go.
    #[error("{0} is there already; name a folder that is not, or move it away first")]
    There(PathBuf),
    /// There is no backup in the folder.
    #[error("there is no {DATABASE} in {0}")]
    Nothing(PathBuf),
    /// The copy is damaged.
    #[error("the copy is damaged and was not used: {0}")]
    Damaged(String),
}

fn at<T>(path: &Path, done: io::Result<T>) -> Result<T, BackupError> {
    done.map_err(|why| BackupError::File {
        path: path.into(),
        why,
    })
}

/// Copies the data folder's database, as it is at one moment, and the server's own key into a new
/// folder, while a server may be running on it; then looks the copy over. The folder holds the key
/// and everyone's records: keep it where nobody else reads.
///
/// # Errors
/// [`BackupError`]; a copy that was begun is taken away again.
pub fn back_up(data: &Path, to: &Path) -> Result<Vec<Finding>, BackupError> {
    if to.exists() {
        return Err(BackupError::There(to.into()));
    }
    if !data.join(DATABASE).exists() {
        return Err(BackupError::Nothing(data.into()));
    }
    let fresh = to.with_extension("unfinished");
    let _ = fs::remove_dir_all(&fresh);
    at(&fresh, private_folder(&fresh))?;
    let made = (|| {
        Sqlite::open(data)?.copy_to(&fresh.join(DATABASE))?;
        copy_tls(data, &fresh)?;
        let findings = sound(&fresh)?;
        at(&fresh, settle(&fresh))?;
        at(to, fs::rename(&fresh, to))?;
        Ok(findings)
    })();
    if made.is_err() {
        let _ = fs::remove_dir_all(&fresh);
    }
    made
}

/// Puts a backup into the place of a data folder that is not there or empty, after looking it over,
/// and gives it a new epoch, so that every phone holds everything against it anew and brings what it
/// lacks.
///
/// # Errors
/// [`BackupError`]; the data folder is then as it was.
pub fn restore(from: &Path, data: &Path) -> Result<Vec<Finding>, BackupError> {
    if !from.join(DATABASE).exists() {
        return Err(BackupError::Nothing(from.into()));
    }
    if data.join(DATABASE).exists() {
        return Err(BackupError::There(data.join(DATABASE)));
    }
    let fresh = data.with_extension("unfinished");
    let _ = fs::remove_dir_all(&fresh);
    at(&fresh, private_folder(&fresh))?;
    let made = (|| {
        let copy = fresh.join(DATABASE);
        at(&copy, fs::copy(from.join(DATABASE), &copy))?;
        copy_tls(from, &fresh)?;
        let findings = sound(&fresh)?;
        Sqlite::open(&fresh)?.new_epoch()?;
        at(&fresh, settle(&fresh))?;
        if data.exists() {
            // Only an empty one gives way, or one with nothing but the lock of a server before.
            let _ = fs::remove_file(data.join("serving.lock"));
            at(data, fs::remove_dir(data))?;
        }
        at(data, fs::rename(&fresh, data))?;
        Ok(findings)
    })();
    if made.is_err() {
        let _ = fs::remove_dir_all(&fresh);
    }
    made
}

/// A copy in which something is lost is no backup.
fn sound(folder: &Path) -> Result<Vec<Finding>, BackupError> {
    let findings = examine(&Sqlite::open(folder)?, false)?;
    match findings.iter().find(|f| f.verdict == Verdict::Lost) {
        Some(lost) => Err(BackupError::Damaged(lost.what.clone())),
        None => Ok(findings),
    }
}

fn copy_tls(from: &Path, to: &Path) -> Result<(), BackupError> {
    let (from, to) = (from.join(TLS), to.join(TLS));
    let files = match fs::read_dir(&from) {
        Ok(files) => files,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return at(&from, Err(e)),
    };
    at(&to, private_folder(&to))?;
    for file in files {
        let file = at(&from, file)?;
        // Takes the rights of the key along.
        at(
            &file.path(),
            fs::copy(file.path(), to.join(file.file_name())),
        )?;
    }
    Ok(())
}

/// Waits until every file of a folder is on the disk.
fn settle(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            settle(&path)?;
        } else {
            fs::File::open(&path)?.sync_all()?;
        }
    }
    // Not every system lets a folder be opened.
    if let Ok(folder) = fs::File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}
