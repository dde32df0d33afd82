//! A database that fails where a test wants it to.

use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use super::{Store, StoreError};

/// Where a database fails. From then on it fails at everything, like a device that lost power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// At the n-th look of SQLite's virtual machine at its progress handler.
    Step(u32),
    /// When the n-th transaction that wrote something is about to commit.
    Commit(u32),
}

thread_local! {
    static VFS: Cell<Option<&'static str>> = const { Cell::new(None) };
}

/// Opens every database that this thread opens from now on through a registered SQLite VFS of this
/// name, or through the system's own again.
pub fn use_vfs(name: Option<&'static str>) {
    VFS.with(|vfs| vfs.set(name));
}

pub(super) fn vfs() -> Option<&'static str> {
    VFS.with(Cell::get)
}

impl Store {
    /// Rows that were inserted, updated or deleted since the database was opened: the same number
    /// as long as nothing is written.
    pub fn rows_written(&self) -> u64 {
        self.connection.total_changes()
    }

    /// Lets the database fail, or lets it be; says by the flag when it has.
    pub fn fail_at(&mut self, fault: Option<Fault>) -> Result<Arc<AtomicBool>, StoreError> {
        let failed = Arc::new(AtomicBool::new(false));
        let counted = |n: u32| {
            let (left, failed) = (AtomicU32::new(n), failed.clone());
            move || {
                let now =
                    left.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |n| n.checked_sub(1));
                let fails = now.is_err();
                failed.fetch_or(fails, Ordering::SeqCst);
                fails
            }
        };
        self.connection.progress_handler(0, None::<fn() -> bool>)?;
        self.connection.commit_hook(None::<fn() -> bool>)?;
        match fault {
            Some(Fault::Step(n)) => self.connection.progress_handler(1, Some(counted(n)))?,
            Some(Fault::Commit(n)) => self.connection.commit_hook(Some(counted(n)))?,
            None => {}
        }
        Ok(failed)
    }
}
