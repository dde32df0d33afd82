use std::fs::OpenOptions;
use std::io::{self, Write};
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
    database: PathBuf,
    path: PathBuf,
}

impl Mark {
    /// Whether the database is a copy of what was last written here.
    pub(super) fn compare(database: &Path, store: &mut Store) -> Result<(Mark, bool), FarmError> {
        let mut path = database.as_os_str().to_owned();
        path.push("-mark");
        let path = PathBuf::from(path);
        let within: Option<String> = store.read::<_, FarmError>(|tx| Ok(tx.meta("mark")?))?;
        let database = database.to_path_buf();
        let mark = Mark { database, path };
        let beside = std::fs::read_to_string(&mark.path)
            .ok()
            .map(|note| note + &mark.stamp());
        let copied = within.is_some() && within != beside;
        Ok((mark, copied))
    }

    /// Before a write: leaves a new note beside the file, and gives it for the database itself.
    pub(super) fn leave(&self) -> Result<String, FarmError> {
        let mut bytes = [0; 16];
        System.fill(&mut bytes);
        let note = data_encoding::HEXLOWER.encode(&bytes);
        self.write(&note).map_err(|e| {
            FarmError::from(match e.kind() {
                std::io::ErrorKind::StorageFull => StoreError::Full,
                _ => StoreError::ReadOnly,
            })
        })?;
        Ok(note + &self.stamp())
    }

    /// Every note has one length, so it is written over the one before: cutting the file off first
    /// would make each commit of the database wait for the file system's journal too.
    fn write(&self, note: &str) -> io::Result<()> {
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(false);
        let mut file = options.open(&self.path)?;
        file.write_all(note.as_bytes())?;
        let length = note.len() as u64;
        if file.metadata()?.len() != length {
            file.set_len(length)?;
        }
        Ok(())
    }

    /// Which files these are: when the database was made and, on Unix, its inode and when the note
    /// was last changed. Nobody can set that time, so a note that was put back never has the one it
    /// had, not even in the same file.
    fn stamp(&self) -> String {
        let made = std::fs::metadata(&self.database)
            .and_then(|m| m.created())
            .ok()
            .and_then(|t| t.duration_since(std::time::UNIX_EPOCH).ok())
            .map_or(0, |t| t.as_nanos());
        format!(
            " {made:x}{}{}",
            unix(&self.database, false),
            unix(&self.path, true)
        )
    }
}

/// The inode of a file and, where asked for, when it was last changed.
#[cfg(unix)]
fn unix(path: &Path, changed: bool) -> String {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).map_or_else(
        |_| String::new(),
        |m| match changed {
            true => format!(" {:x} {}.{}", m.ino(), m.ctime(), m.ctime_nsec()),
            false => format!(" {:x}", m.ino()),
        },
    )
}

/// Elsewhere nothing more is known of a file.
#[cfg(not(unix))]
fn unix(_: &Path, _: bool) -> String {
    String::new()
}
