use std::ops::Deref;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::address::Address;
use super::link::Link;
use crate::store::StoreError;

/// The most connections of one process. More would only wait for one another in the database.
const MOST: usize = 12;

/// How long someone waits for a connection before hearing that the database is busy.
const PATIENCE: Duration = Duration::from_secs(10);

/// Connections that are kept open. The last one used is used next, so that few stay warm.
pub(super) struct Pool {
    address: Address,
    kept: Mutex<Kept>,
    freed: Condvar,
}

#[derive(Default)]
struct Kept {
    idle: Vec<Link>,
    out: usize,
}

/// A connection, given back when dropped.
pub(super) struct Lent<'a> {
    pool: &'a Pool,
    link: Option<Link>,
    /// Whether it was in use before: the database may have ended it since.
    kept: bool,
}

impl Pool {
    pub(super) fn new(address: Address) -> Pool {
        Pool {
            address,
            kept: Mutex::default(),
            freed: Condvar::new(),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins something on a connection, and hands both out. Where a kept connection turns out to
    /// have ended, a fresh one takes its place, so beginning must change nothing.
    pub(super) fn begin<T>(
        &self,
        begin: impl Fn(&Link) -> Result<T, StoreError>,
    ) -> Result<(Lent<'_>, T), StoreError> {
        loop {
            let lent = self.lend()?;
            match begin(&lent) {
                Ok(begun) => return Ok((lent, begun)),
                // The others that were kept as long are no better.
                Err(StoreError::Unreachable(_)) if lent.kept => self.lock().idle.clear(),
                Err(e) => return Err(e),
            }
        }
    }

    fn lend(&self) -> Result<Lent<'_>, StoreError> {
        let (mut kept, _) = self
            .freed
            .wait_timeout_while(self.lock(), PATIENCE, |kept| kept.out >= MOST)
            .unwrap_or_else(PoisonError::into_inner);
        if kept.out >= MOST {
            return Err(StoreError::InUse);
        }
        kept.out += 1;
        let link = kept.idle.pop();
        drop(kept);
        let mut lent = Lent {
            pool: self,
            kept: link.is_some(),
            link,
        };
        if lent.link.is_none() {
            lent.link = Some(Link::open(&self.address)?);
        }
        Ok(lent)
    }
}

impl Deref for Lent<'_> {
    type Target = Link;

    fn deref(&self) -> &Link {
        // Only while it is dropped there is none.
        self.link.as_ref().unwrap_or_else(|| unreachable!())
    }
}

impl Drop for Lent<'_> {
    fn drop(&mut self) {
        let mut kept = self.pool.lock();
        kept.out -= 1;
        kept.idle
            .extend(self.link.take().filter(|link| !link.is_closed()));
        drop(kept);
        self.pool.freed.notify_one();
    }
}
