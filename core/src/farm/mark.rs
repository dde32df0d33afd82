use std::path::{Path, PathBuf};

use super::{Env, FarmError, System};
use crate::store::{Store, StoreError};

/// A note beside the database file that says which state of it was last written here.
///
/// A database restored from a copy carries the note of the copy's time, which is another one than
/// the file beside it says (or there is none beside it). Then this installation takes a fresh
/// actor: two copies that write under one would contradict each other. A needless fresh actor does
/// no harm, so every doubt (a crash between the two writes, a moved file) ends in one.
pub(super) struct Mark {
    path: PathBuf,
    left: bool,
}

impl Mark {
    /// Whether the database is a copy of what was last written here.
    pub(super) fn compare(database: &Path, store: &mut Store) -> Result<(Mark, bool), FarmError> {
        let mut path = database.as_os_str().to_owned();
        path.push("-mark");
        let path = PathBuf::from(path);
        let within: Option<String> = store.read::<_, FarmError>(|tx| Ok(tx.meta("mark")?))?;
        let beside = std::fs::read_to_string(&path).ok();
        let copied = within.is_some() && within != beside;
        Ok((Mark { path, left: false }, copied))
    }

    /// Before the first write of this opening: leaves a new note beside the file, and gives it for
    /// the database itself.
    pub(super) fn leave(&mut self) -> Result<Option<String>, FarmError> {
        if self.left {
            return Ok(None);
        }
        let mut bytes = [0; 16];
        System.fill(&mut bytes);
        let note = data_encoding::HEXLOWER.encode(&bytes);
        std::fs::write(&self.path, &note).map_err(|e| {
            FarmError::from(match e.kind() {
                std::io::ErrorKind::StorageFull => StoreError::Full,
                _ => StoreError::ReadOnly,
            })
        })?;
        self.left = true;
        Ok(Some(note))
    }

    /// The write did not happen; the next one leaves a note again.
    pub(super) fn forget(&mut self) {
        self.left = false;
    }
}
