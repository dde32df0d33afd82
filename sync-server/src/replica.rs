//! The server's own replica of each farm: the same facade as on a phone, fed from the log. Only
//! the kitchen screen reads it and decides with it; no phone ever waits for it.
//!
//! A replica is a cache: nothing is in it for long that is not in the log. It has a folder of its own
//! with a note of how far it follows which log; where that does not fit, it is thrown away and made
//! anew.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, TryLockError};

use data_encoding::HEXLOWER;
use pointdown_core::farm::{Env, Farm, FarmError, Location};
use pointdown_core::record::Id;

use crate::exchange::document;
use crate::store::{self, Epoch, Store, StoreError};

/// How many bytes of changes a replica takes at a time.
const PAGE: usize = 512 * 1024;

/// Why a replica cannot be read.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ReplicaError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Farm(#[from] FarmError),
    #[error("the folder of a replica cannot be used: {0}")]
    Folder(#[from] std::io::Error),
}

/// A farm and how far it follows the log.
struct Open {
    farm: Farm,
    epoch: Epoch,
    cursor: u64,
}

type Slot = Arc<Mutex<Option<Open>>>;

/// The replicas of all farms, each opened when it is first asked for.
pub(crate) struct Replicas {
    /// Where they are kept; in memory if nowhere.
    folder: Option<PathBuf>,
    slots: Mutex<HashMap<Id, Slot>>,
}

impl Replicas {
    pub(crate) fn new(data: Option<&Path>) -> Replicas {
        Replicas {
            folder: data.map(|data| data.join("replicas")),
            slots: Mutex::default(),
        }
    }

    /// Lets an open replica follow the log in the background. One that nobody has looked at yet
    /// stays closed; one that is being fed goes on by itself when it is read next.
    pub(crate) fn follow(self: &Arc<Self>, store: Arc<dyn Store>, env: Arc<dyn Env>, farm: Id) {
        let Some(slot) = lock(&self.slots).get(&farm).cloned() else {
            return;
        };
        let this = self.clone();
        tokio::task::spawn_blocking(move || {
            let mut open = match slot.try_lock() {
                Ok(open) => open,
                Err(TryLockError::Poisoned(poisoned)) => poisoned.into_inner(),
                Err(TryLockError::WouldBlock) => return,
            };
            if let Err(e) = this.feed(&*store, &env, farm, &mut open) {
                tracing::error!(%farm, error = %e, "the replica cannot follow the log");
            }
        });
    }

    /// Reads the replica of a farm after it took everything of the log.
    pub(crate) fn read<T>(
        &self,
        store: &dyn Store,
        env: &Arc<dyn Env>,
        farm: Id,
        work: impl FnOnce(&Farm) -> Result<T, FarmError>,
    ) -> Result<T, ReplicaError> {
        let slot = lock(&self.slots).entry(farm).or_default().clone();
        let mut open = lock(&slot);
        let open = self.feed(store, env, farm, &mut open)?;
        Ok(work(&open.farm)?)
    }

    /// Works with the replica as [`Replicas::read`] does, where the work may also write. After a
    /// failure that is not `harmless` the replica may hold what the log does not: it is thrown away.
    pub(crate) fn write<T, E: From<ReplicaError>>(
        &self,
        store: &dyn Store,
        env: &Arc<dyn Env>,
        farm: Id,
        work: impl FnOnce(&Farm) -> Result<T, E>,
        harmless: impl FnOnce(&E) -> bool,
    ) -> Result<T, E> {
        let slot = lock(&self.slots).entry(farm).or_default().clone();
        let mut open = lock(&slot);
        let done = work(&self.feed(store, env, farm, &mut open)?.farm);
        if done.as_ref().is_err_and(|e| !harmless(e)) {
            *open = None;
            self.forget(farm).map_err(ReplicaError::Folder)?;
        }
        done
    }

    fn feed<'a>(
        &self,
        store: &dyn Store,
        env: &Arc<dyn Env>,
        farm: Id,
        slot: &'a mut Option<Open>,
    ) -> Result<&'a Open, ReplicaError> {
        let epoch = store.epoch()?;
        // A log of another epoch may lack what the replica has.
        if slot.as_ref().is_some_and(|open| open.epoch != epoch) {
            *slot = None;
        }
        let mut open = match slot.take() {
            Some(open) => open,
            None => self.open(env, farm, epoch)?,
        };
        if let Err(e) = self.catch_up(store, farm, &mut open) {
            tracing::warn!(%farm, error = %e, "the replica does not fit the log; it is made anew");
            drop(open);
            self.forget(farm)?;
            open = self.open(env, farm, epoch)?;
            self.catch_up(store, farm, &mut open)?;
        }
        Ok(slot.insert(open))
    }

    fn catch_up(&self, store: &dyn Store, farm: Id, open: &mut Open) -> Result<(), ReplicaError> {
        if let Some(head) = self.whole(store, farm, open)? {
            open.cursor = head;
        }
        loop {
            let page = store::read(store, farm, |log| log.after(open.cursor, PAGE))?;
            let Some(last) = page.last() else {
                return Ok(());
            };
            let cursor = last.n;
            let changes: Vec<_> = page.into_iter().map(|c| (c.doc, c.bytes)).collect();
            open.farm.take(&changes)?;
            open.cursor = cursor;
            // Noted after the changes are durable: at worst some are offered again.
            if let Some(folder) = self.folder_of(farm) {
                let note = format!("{} {cursor}", HEXLOWER.encode(&open.epoch));
                let fresh = folder.join("cursor.new");
                std::fs::write(&fresh, note)?;
                std::fs::rename(fresh, folder.join("cursor"))?;
            }
        }
    }

    /// Takes whole documents where the log has folded changes that the replica lacks. Returns up to
    /// which number it has everything then.
    fn whole(&self, store: &dyn Store, farm: Id, open: &Open) -> Result<Option<u64>, ReplicaError> {
        let behind = store::read(store, farm, |log| {
            if open.cursor >= log.folded()? {
                return Ok(None);
            }
            Ok(Some((log.counter()?, log.changed_since(open.cursor)?)))
        })?;
        let Some((head, docs)) = behind else {
            return Ok(None);
        };
        for name in docs {
            let parts = store::read(store, farm, |log| log.doc(&name))?;
            let changes = document(farm, &name, &parts)?.changes();
            let changes: Vec<_> = changes.into_iter().map(|c| (name.clone(), c)).collect();
            open.farm.take(&changes)?;
        }
        Ok(Some(head))
    }

    fn open(&self, env: &Arc<dyn Env>, farm: Id, epoch: Epoch) -> Result<Open, ReplicaError> {
        let Some(folder) = self.folder_of(farm) else {
            return Ok(Open {
                farm: Farm::replica(&Location::Memory, farm, env.clone())?,
                epoch,
                cursor: 0,
            });
        };
        let cursor = noted(&folder, &epoch);
        if cursor.is_none() {
            self.forget(farm)?;
        }
        std::fs::create_dir_all(&folder)?;
        let file = Location::File(folder.join("farm.db"));
        let open = Farm::replica(&file, farm, env.clone())?;
        // Written, and not in the log when the process ended: nobody was told that it was done.
        if open.status()?.waiting > 0 {
            drop(open);
            self.forget(farm)?;
            std::fs::create_dir_all(&folder)?;
            return Ok(Open {
                farm: Farm::replica(&file, farm, env.clone())?,
                epoch,
                cursor: 0,
            });
        }
        Ok(Open {
            farm: open,
            epoch,
            cursor: cursor.unwrap_or(0),
        })
    }

    fn forget(&self, farm: Id) -> std::io::Result<()> {
        match self.folder_of(farm).map(std::fs::remove_dir_all) {
            Some(Err(e)) if e.kind() != std::io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }

    fn folder_of(&self, farm: Id) -> Option<PathBuf> {
        // A UUID's text does not depend on upper and lower case, as some file systems want it.
        Some(self.folder.as_ref()?.join(farm.uuid().to_string()))
    }
}

/// How far the replica in a folder follows the log of this epoch; nothing where there is none.
fn noted(folder: &Path, epoch: &Epoch) -> Option<u64> {
    let note = std::fs::read_to_string(folder.join("cursor")).ok()?;
    let (of, cursor) = note.split_once(' ')?;
    let there = folder.join("farm.db").exists();
    (there && of == HEXLOWER.encode(epoch)).then(|| cursor.parse().ok())?
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
