//! A database that fails where a test wants it to.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use rusqlite::types::ValueRef;

use super::query::VIEWED;
use super::rows::id;
use super::{Store, StoreError, Tx};
use crate::record::Id;

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

impl Tx<'_> {
    /// A fingerprint of [`Tx::view`] that costs less than its text.
    pub fn view_sum(&self) -> Result<u64, StoreError> {
        let mut sum = DefaultHasher::new();
        for (table, order) in VIEWED {
            let query = format!("SELECT * FROM {table} ORDER BY {order}");
            let mut statement = self.sql.prepare_cached(&query)?;
            let columns = statement.column_count();
            let mut rows = statement.query([])?;
            table.hash(&mut sum);
            while let Some(row) = rows.next()? {
                for column in 0..columns {
                    match row.get_ref(column)? {
                        ValueRef::Null => 0u8.hash(&mut sum),
                        ValueRef::Integer(n) => (1u8, n).hash(&mut sum),
                        ValueRef::Real(x) => (2u8, x.to_bits()).hash(&mut sum),
                        ValueRef::Text(bytes) => (3u8, bytes).hash(&mut sum),
                        ValueRef::Blob(bytes) => (4u8, bytes).hash(&mut sum),
                    }
                }
            }
        }
        Ok(sum.finish())
    }

    /// The ids of all records, however they stand.
    pub fn record_ids(&self) -> Result<BTreeSet<Id>, StoreError> {
        let mut statement = self.sql.prepare_cached("SELECT id FROM record")?;
        let ids = statement.query_map([], |row| row.get::<_, String>(0))?;
        ids.map(|text| id(&text?)).collect()
    }
}
