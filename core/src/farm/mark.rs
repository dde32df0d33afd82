use std::path::{Path, PathBuf};

use super::{Env, FarmError, System};
use crate::store::{Store, StoreError};

/// A note beside the database file that says which state of it was last written here.
///
/// Every write leaves a new one, in the database and beside it. A database restored from a copy
/// carries the note of the copy's time, which is another one than the file beside it says (or there
/// is none beside it); where the note was put back together with it, the file that holds it is
/// another one, or was written at another time than the database knows. Then this installation
/// takes a fresh actor: two copies that write under one would contradict each other. A needless
/// fresh actor does no harm, so every doubt (a crash between the two writes, a moved file) ends in
/// one.
pub(super) struct Mark {
    path: PathBuf,
}

impl Mark {
    /// Whether the database is a copy of what was last written here.
    pub(super) fn compare(database: &Path, store: &mut Store) -> Result<(Mark, bool), FarmError> {
        let mut path = database.as_os_str().to_owned();
        path.push("-mark");
        let path = PathBuf::from(path);
        let within: Option<String> = store.read::<_, FarmError>(|tx| Ok(tx.meta("mark")?))?;
        let beside = std::fs::read_to_string(&path)
            .ok()
            .map(|note| note + &stamp(&path));
        let copied = within.is_some() && within != beside;
        Ok((Mark { path }, copied))
    }

    /// Before a write: leaves a new note beside the file, and gives it for the database itself.
    pub(super) fn leave(&self) -> Result<String, FarmError> {
        let mut bytes = [0; 16];
        System.fill(&mut bytes);
        let note = data_encoding::HEXLOWER.encode(&bytes);
        std::fs::write(&self.path, &note).map_err(|e| {
            FarmError::from(match e.kind() {
                std::io::ErrorKind::StorageFull => StoreError::Full,
                _ => StoreError::ReadOnly,
            })
        })?;
        Ok(note + &stamp(&self.path))
    }
}

/// Which file holds the note, and when that was last changed: nobody can set this time, so a file
/// that was put back never has the one it had.
#[cfg(unix)]
fn stamp(path: &Path) -> String {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).map_or_else(
        |_| String::new(),
        |m| format!(" {} {}.{}", m.ino(), m.ctime(), m.ctime_nsec()),
    )
}

/// Elsewhere a note that was put back together with its database is not noticed.
#[cfg(not(unix))]
fn stamp(_: &Path) -> String {
    String::new()
}
