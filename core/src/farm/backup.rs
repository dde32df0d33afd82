use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::check::look_over;
use super::facade::Me;
use super::{Env as _, ErrorKind, Farm, FarmError, System};
use crate::record::{Id, InvalidRecord};
use crate::store::{Location, Store};

/// The note that a backup carries, and under which key.
const SEAL: &str = "seal";

/// What a backup says of itself: SHA-256 over every row of every table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Seal {
    sum: String,
    /// When it was made, in milliseconds since 1970.
    made: i64,
}

/// A backup that was read back and found whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Backup {
    /// The farm's id.
    pub farm: Id,
    /// Its name, if its set-up is in it.
    pub name: Option<String>,
    /// Records that stand.
    pub records: usize,
    /// The size of the file in bytes.
    pub bytes: u64,
    /// When it was made, in milliseconds since 1970; nothing for a plain copy of a database, which
    /// carries no seal.
    pub made: Option<i64>,
}

impl Farm {
    /// Writes a whole copy of the database to a new file, and reads it back: SQLite's own check, every
    /// document, the book against its records, and a seal over all rows. Only then does the file get
    /// its name. Opened anywhere, the copy writes under a fresh actor, so that the old phone may come
    /// back beside it. It holds everything, the key to the server too: keep it where strangers do not
    /// reach.
    pub fn back_up(&self, path: &Path) -> Result<Backup, FarmError> {
        nothing_at(path)?;
        let part = Part::beside(path)?;
        let mut inner = self.lock();
        // The copy must carry a mark, or it could not be told from the original.
        inner.remember(|_| ())?;
        inner.store.copy_to(&part.0)?;
        let made = System.now().ms();
        {
            let mut copy = Store::open_as_is(&part.0)?;
            let sum = sum(&mut copy)?;
            copy.write::<_, FarmError>(|tx| Ok(tx.set_meta(SEAL, &Seal { sum, made })?))?;
        }
        let found = part.verified()?;
        part.named(path)?;
        Ok(found)
    }

    /// Reads a backup without changing it, and says what is in it.
    ///
    /// # Errors
    /// [`ErrorKind::Damaged`] with every reason where it is not whole, [`ErrorKind::NotFound`] where
    /// there is no file or no farm in it, [`ErrorKind::TooNew`] for one of a later version.
    pub fn verify_backup(backup: &Path) -> Result<Backup, FarmError> {
        let name = format!("pointdown-{}", random());
        let part = Part(std::env::temp_dir().join(name));
        part.take(backup)?;
        part.verified()
    }

    /// Puts a backup, or a plain copy of a closed database, where no database is yet. The file is
    /// looked over first; one that is not whole is refused with the reasons and nothing is left
    /// behind. A database that is there is never written over.
    pub fn restore(backup: &Path, to: &Path) -> Result<Backup, FarmError> {
        nothing_at(to)?;
        for end in ["-wal", "-journal"] {
            nothing_at(&with(to, end))?;
        }
        let part = Part::beside(to)?;
        part.take(backup)?;
        let found = part.verified()?;
        break_seal(&mut Store::open_as_is(&part.0)?)?;
        part.named(to)?;
        Ok(found)
    }
}

/// A database that is written from now on is no backup any more.
pub(super) fn break_seal(store: &mut Store) -> Result<(), FarmError> {
    let sealed = store.read::<_, FarmError>(|tx| Ok(tx.meta::<Seal>(SEAL)?.is_some()))?;
    match sealed {
        true => store.write(|tx| Ok(tx.forget_meta(SEAL)?)),
        false => Ok(()),
    }
}

fn sum(store: &mut Store) -> Result<String, FarmError> {
    let mut hash = Sha256::new();
    store.read::<_, FarmError>(|tx| {
        Ok(tx.every_row(SEAL, &mut |row| {
            hash.update(row.len().to_be_bytes());
            hash.update(row);
        })?)
    })?;
    Ok(data_encoding::HEXLOWER.encode(&hash.finalize()))
}

fn nothing_at(path: &Path) -> Result<(), FarmError> {
    if path.symlink_metadata().is_ok() {
        let allowed = "allowed is a file that is not there yet";
        return Err(InvalidRecord::new("file", path.display(), allowed).into());
    }
    Ok(())
}

fn with(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}

fn random() -> String {
    let mut bytes = [0; 8];
    System.fill(&mut bytes);
    data_encoding::HEXLOWER.encode(&bytes)
}

fn failed(path: &Path, e: &io::Error) -> FarmError {
    let kind = match e.kind() {
        io::ErrorKind::NotFound => ErrorKind::NotFound,
        io::ErrorKind::StorageFull => ErrorKind::DiskFull,
        _ => ErrorKind::Storage,
    };
    FarmError::new(kind, format!("{}: {e}", path.display()))
}

/// A file on its way, gone with everything beside it unless it gets its name.
struct Part(PathBuf);

impl Drop for Part {
    fn drop(&mut self) {
        for end in ["", "-wal", "-shm", "-journal"] {
            drop(fs::remove_file(with(&self.0, end)));
        }
    }
}

impl Part {
    fn beside(path: &Path) -> Result<Part, FarmError> {
        let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
        if let Some(folder) = folder.filter(|f| !f.is_dir()) {
            let message = format!("there is no folder {}", folder.display());
            return Err(FarmError::new(ErrorKind::NotFound, message));
        }
        Ok(Part(with(path, &format!(".{}", random()))))
    }

    /// Fills it from a file.
    fn take(&self, backup: &Path) -> Result<(), FarmError> {
        let mut file = File::open(backup).map_err(|e| failed(backup, &e))?;
        let mut first = [0; 16];
        // SQLite file format, section 1.3: the first 16 bytes of every database.
        let known = file.read_exact(&mut first).is_ok() && &first == b"SQLite format 3\0";
        if !known {
            let what = match &first == b"pointdown bundle" {
                true => "it is a bundle, which is imported",
                false => "it is no database",
            };
            let message = format!("{} is no backup: {what}", backup.display());
            return Err(FarmError::new(ErrorKind::Damaged, message));
        }
        let log = with(backup, "-wal");
        if fs::metadata(&log).is_ok_and(|m| m.len() > 0) {
            let message = format!(
                "{} was not closed: its last records stand in {}; close the program, or make a backup",
                backup.display(),
                log.display()
            );
            return Err(FarmError::new(ErrorKind::InUse, message));
        }
        fs::copy(backup, &self.0).map_err(|e| failed(&self.0, &e))?;
        Ok(())
    }

    /// Reads everything back.
    fn verified(&self) -> Result<Backup, FarmError> {
        let bytes = fs::metadata(&self.0)
            .map_err(|e| failed(&self.0, &e))?
            .len();
        let damaged = |why: String| {
            FarmError::new(ErrorKind::Damaged, format!("the backup is damaged: {why}"))
        };
        let seal = {
            let mut store = Store::open_as_is(&self.0)?;
            if let Some(said) = store.integrity()? {
                return Err(damaged(said));
            }
            let seal = store.read::<_, FarmError>(|tx| Ok(tx.meta::<Seal>(SEAL)?))?;
            if let Some(seal) = &seal
                && sum(&mut store)? != seal.sum
            {
                return Err(damaged("its rows are not those that were sealed".into()));
            }
            seal
        };
        let mut store = Store::open(&Location::File(self.0.clone()))?;
        let me: Option<Me> = store.read::<_, FarmError>(|tx| Ok(tx.meta("me")?))?;
        let farm = me.ok_or_else(|| {
            FarmError::new(ErrorKind::NotFound, "this database keeps no farm yet")
        })?;
        let check = look_over(&mut store, farm.farm)?;
        if !check.wrong.is_empty() {
            return Err(damaged(check.wrong.join("; ")));
        }
        let name = store.read::<_, FarmError>(|tx| Ok(tx.names()?.remove(&farm.farm)))?;
        Ok(Backup {
            farm: farm.farm,
            name,
            records: check.records,
            bytes,
            made: seal.map(|seal| seal.made),
        })
    }

    /// Gives it its name, which nothing else may have by now.
    fn named(self, path: &Path) -> Result<(), FarmError> {
        let synced = File::open(&self.0).and_then(|file| file.sync_all());
        synced.map_err(|e| failed(&self.0, &e))?;
        match fs::hard_link(&self.0, path) {
            Ok(()) => Ok(()),
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => nothing_at(path),
            // Not every file system has links.
            Err(_) => {
                nothing_at(path)?;
                fs::rename(&self.0, path).map_err(|e| failed(path, &e))
            }
        }
    }
}
