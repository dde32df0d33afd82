use std::path::{Path, PathBuf};

use super::{Env, FarmError, System};
use crate::store::{Store, StoreError};

/// A note beside the database file that says which state of it was last written here, and which file
/// it was. It is written anew before every write, and within it.
///
/// A database restored from a copy carries the note of the copy's time, which is another one than
/// the file beside it says (or there is none beside it); one copied together with its note is
/// another file. Then this installation takes a fresh actor: two copies that write under one would
/// contradict each other. A needless fresh actor does no harm, so every doubt (a crash between the
/// two writes, a moved file) ends in one.
pub(super) struct Mark {
    database: PathBuf,
    path: PathBuf,
}

impl Mark {
    /// Whether the database is a copy of what was last written here.
    pub(super) fn compare(database: &Path, store: &mut Store) -> Result<(Mark, bool), FarmError> {
        let mut path = database.as_os_str().to_owned();
        path.push("-mark");
        let path = PathBuf::from(path);
        let database = database.to_path_buf();
        let within: Option<String> = store.read::<_, FarmError>(|tx| Ok(tx.meta("mark")?))?;
        let beside = std::fs::read_to_string(&path).ok();
        let file = identity(&database);
        let copied = within
            .as_ref()
            .is_some_and(|note| within != beside || !note.ends_with(&file));
        Ok((Mark { database, path }, copied))
    }

    /// Before a write: leaves a new note beside the file, and gives it for the database itself.
    pub(super) fn leave(&self) -> Result<String, FarmError> {
        let mut bytes = [0; 16];
        System.fill(&mut bytes);
        let note = data_encoding::HEXLOWER.encode(&bytes) + &identity(&self.database);
        std::fs::write(&self.path, &note).map_err(|e| {
            FarmError::from(match e.kind() {
                std::io::ErrorKind::StorageFull => StoreError::Full,
                _ => StoreError::ReadOnly,
            })
        })?;
        Ok(note)
    }
}

/// What tells a file from a copy of it: when it was made and, on Unix, its inode.
fn identity(database: &Path) -> String {
    let Ok(metadata) = std::fs::metadata(database) else {
        return String::new();
    };
    #[cfg(unix)]
    let inode = std::os::unix::fs::MetadataExt::ino(&metadata);
    #[cfg(not(unix))]
    let inode = 0;
    let made = metadata
        .created()
        .ok()
        .and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok())
        .map_or(0, |t| t.as_nanos());
    format!("-{inode:x}-{made:x}")
}
