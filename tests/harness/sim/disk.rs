//! A disk that loses what was not synced when its power fails.
//!
//! It is a file system for SQLite (a VFS) over ordinary files. What is written is there at once for
//! whoever reads it, as in the cache of an operating system, and safe only once SQLite has synced the
//! file. Until then it is kept aside what each write replaced, so that after a power failure any part
//! of those writes can be taken back: all, none, some, or single sectors of one.

use std::borrow::Cow;
use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::fs::{File, OpenOptions as Opening};
use std::io::{Error, ErrorKind, Result};
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::time::Duration;

use sqlite_vfs::{DatabaseHandle, LockKind, OpenAccess, OpenOptions, Vfs, WalDisabled, register};

use super::Dice;

/// What a drive writes in one piece.
const SECTOR: usize = 512;

/// A write since the last sync, with what was there before.
#[derive(Debug)]
enum Write {
    Bytes {
        at: u64,
        old: Vec<u8>,
        len_before: u64,
        new: Vec<u8>,
    },
    Length {
        cut: Vec<u8>,
        from: u64,
        to: u64,
    },
}

/// A database with the files beside it.
#[derive(Debug, Default)]
struct Volume {
    /// Operations that change something until the power fails; nothing where it does not.
    left: Option<u32>,
    off: bool,
    unsynced: BTreeMap<String, Vec<Write>>,
}

static VOLUMES: Mutex<BTreeMap<String, Weak<Mutex<Volume>>>> = Mutex::new(BTreeMap::new());

fn hold<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The database that a file belongs to.
fn database(file: &str) -> &str {
    let ends = ["-wal", "-journal"];
    ends.iter()
        .find_map(|end| file.strip_suffix(end))
        .unwrap_or(file)
}

fn volume(file: &str) -> Arc<Mutex<Volume>> {
    let mut all = hold(&VOLUMES);
    if let Some(there) = all.get(database(file)).and_then(Weak::upgrade) {
        return there;
    }
    all.retain(|_, volume| volume.strong_count() > 0);
    let fresh = Arc::default();
    all.insert(database(file).into(), Arc::downgrade(&fresh));
    fresh
}

/// The name under which SQLite knows this file system on this thread.
pub(super) fn name() -> &'static str {
    thread_local! {
        static NAME: OnceCell<&'static str> = const { OnceCell::new() };
    }
    static THREADS: AtomicU64 = AtomicU64::new(0);
    NAME.with(|name| {
        // One for each thread: the crate's registry is not made for several at once.
        *name.get_or_init(|| {
            let name = format!("pointdown-{}", THREADS.fetch_add(1, Ordering::SeqCst));
            register(&name, Disk, false).expect("SQLite takes a file system");
            String::leak(name)
        })
    })
}

/// Lets the power fail at the n-th write, sync or change of length from now on; then nothing of this
/// database can be read or written any more. With nothing, it does not fail.
pub(super) fn cut_power(database: &Path, after: Option<u32>) {
    let volume = volume(&database.to_string_lossy());
    let mut volume = hold(&volume);
    volume.left = after;
    volume.off = false;
}

/// Whether the power has failed.
pub(super) fn is_off(database: &Path) -> bool {
    hold(&volume(&database.to_string_lossy())).off
}

/// What a file may hold after the power failed now.
pub(super) fn after_power_loss(file: &Path, dice: &mut Dice) -> Vec<u8> {
    let mut bytes = std::fs::read(file).unwrap_or_default();
    let volume = volume(&file.to_string_lossy());
    let volume = hold(&volume);
    let Some(writes) = volume.unsynced.get(file.to_string_lossy().as_ref()) else {
        return bytes;
    };
    for write in writes.iter().rev() {
        write.undo(&mut bytes);
    }
    let how = dice.below(5);
    let until = dice.below(writes.len() + 1);
    for (n, write) in writes.iter().enumerate() {
        match how {
            0 => {}
            1 => write.again(&mut bytes, &mut |_| true),
            2 if n < until => write.again(&mut bytes, &mut |_| true),
            2 if n == until => {
                let sectors = dice.below(9);
                write.again(&mut bytes, &mut |sector| sector < sectors);
            }
            2 => {}
            3 => {
                let kept = dice.once_in(2);
                write.again(&mut bytes, &mut |_| kept);
            }
            _ => write.again(&mut bytes, &mut |_| dice.once_in(2)),
        }
    }
    bytes
}

impl Write {
    fn undo(&self, bytes: &mut Vec<u8>) {
        match self {
            Write::Bytes {
                at,
                old,
                len_before,
                ..
            } => {
                bytes.truncate(*len_before as usize);
                let at = *at as usize;
                if let Some(there) = bytes.get_mut(at..at + old.len()) {
                    there.copy_from_slice(old);
                }
            }
            Write::Length { cut, from, to } => {
                bytes.truncate(*to as usize);
                bytes.extend(cut);
                bytes.resize(*from as usize, 0);
            }
        }
    }

    /// Does it once more, as far as its sectors are kept.
    fn again(&self, bytes: &mut Vec<u8>, kept: &mut dyn FnMut(usize) -> bool) {
        match self {
            Write::Bytes { at, new, .. } => {
                for (n, sector) in new.chunks(SECTOR).enumerate() {
                    if kept(n) {
                        let at = *at as usize + n * SECTOR;
                        let end = at + sector.len();
                        if bytes.len() < end {
                            bytes.resize(end, 0);
                        }
                        bytes[at..end].copy_from_slice(sector);
                    }
                }
            }
            Write::Length { to, .. } => {
                if kept(0) {
                    bytes.resize(*to as usize, 0);
                }
            }
        }
    }
}

impl Volume {
    fn is_on(&self) -> Result<()> {
        if self.off {
            return Err(Error::other("the power has failed"));
        }
        Ok(())
    }

    /// Whether the power lasts for one more change.
    fn lasts(&mut self) -> bool {
        match &mut self.left {
            Some(0) => self.off = true,
            Some(left) => *left -= 1,
            None => {}
        }
        !self.off
    }
}

/// The file system.
struct Disk;

/// An open file.
struct Open {
    file: File,
    name: String,
    volume: Arc<Mutex<Volume>>,
    lock: LockKind,
}

impl Vfs for Disk {
    type Handle = Open;

    fn open(&self, name: &str, opts: OpenOptions) -> Result<Open> {
        let volume = volume(name);
        hold(&volume).is_on()?;
        let mut opening = Opening::new();
        opening.read(true);
        match opts.access {
            OpenAccess::Read => &mut opening,
            OpenAccess::Write => opening.write(true),
            OpenAccess::Create => opening.write(true).create(true),
            OpenAccess::CreateNew => opening.write(true).create_new(true),
        };
        Ok(Open {
            file: opening.open(name)?,
            name: name.into(),
            volume,
            lock: LockKind::None,
        })
    }

    fn delete(&self, name: &str) -> Result<()> {
        let volume = volume(name);
        let mut volume = hold(&volume);
        volume.is_on()?;
        if !volume.lasts() {
            return volume.is_on();
        }
        volume.unsynced.remove(name);
        std::fs::remove_file(name)
    }

    fn exists(&self, name: &str) -> Result<bool> {
        // As SQLite's own: a journal without a byte is none.
        Ok(std::fs::metadata(name).is_ok_and(|m| m.len() > 0))
    }

    fn temporary_name(&self) -> String {
        static NAMES: AtomicU64 = AtomicU64::new(0);
        let n = NAMES.fetch_add(1, Ordering::SeqCst);
        let file = format!("pointdown-{}-{n}", std::process::id());
        std::env::temp_dir()
            .join(file)
            .to_string_lossy()
            .into_owned()
    }

    fn random(&self, buffer: &mut [i8]) {
        buffer.fill(7);
    }

    fn sleep(&self, duration: Duration) -> Duration {
        duration
    }

    fn full_pathname<'a>(&self, name: &'a str) -> Result<Cow<'a, str>> {
        Ok(name.into())
    }
}

impl DatabaseHandle for Open {
    type WalIndex = WalDisabled;

    fn size(&self) -> Result<u64> {
        Ok(self.file.metadata()?.len())
    }

    fn read_exact_at(&mut self, buffer: &mut [u8], offset: u64) -> Result<()> {
        hold(&self.volume).is_on()?;
        let mut read = 0;
        while read < buffer.len() {
            match self
                .file
                .read_at(&mut buffer[read..], offset + read as u64)?
            {
                0 => {
                    // What SQLite expects of a read beyond the end.
                    buffer[read..].fill(0);
                    return Err(ErrorKind::UnexpectedEof.into());
                }
                n => read += n,
            }
        }
        Ok(())
    }

    fn write_all_at(&mut self, new: &[u8], at: u64) -> Result<()> {
        let mut volume = hold(&self.volume);
        volume.is_on()?;
        let len_before = self.file.metadata()?.len();
        let there = (len_before.saturating_sub(at)).min(new.len() as u64);
        let mut old = vec![0; there as usize];
        self.file.read_exact_at(&mut old, at)?;
        self.file.write_all_at(new, at)?;
        let write = Write::Bytes {
            at,
            old,
            len_before,
            new: new.to_vec(),
        };
        let unsynced = &mut volume.unsynced;
        unsynced.entry(self.name.clone()).or_default().push(write);
        // The one during which the power fails may have come to the disk in part.
        volume.lasts();
        volume.is_on()
    }

    fn sync(&mut self, _: bool) -> Result<()> {
        let mut volume = hold(&self.volume);
        volume.is_on()?;
        if volume.lasts() {
            volume.unsynced.remove(&self.name);
        }
        volume.is_on()
    }

    fn set_len(&mut self, to: u64) -> Result<()> {
        let mut volume = hold(&self.volume);
        volume.is_on()?;
        let from = self.file.metadata()?.len();
        let mut cut = vec![0; from.saturating_sub(to) as usize];
        self.file.read_exact_at(&mut cut, to)?;
        self.file.set_len(to)?;
        let write = Write::Length { cut, from, to };
        let unsynced = &mut volume.unsynced;
        unsynced.entry(self.name.clone()).or_default().push(write);
        volume.lasts();
        volume.is_on()
    }

    fn lock(&mut self, lock: LockKind) -> Result<bool> {
        // A phone's database is opened once: nobody else asks for a lock.
        self.lock = lock;
        Ok(true)
    }

    fn reserved(&mut self) -> Result<bool> {
        Ok(false)
    }

    fn current_lock(&self) -> Result<LockKind> {
        Ok(self.lock)
    }

    fn wal_index(&self, _: bool) -> Result<WalDisabled> {
        // In exclusive mode SQLite keeps the index of its log in memory.
        Err(Error::other("no shared memory here"))
    }
}
