//! A store of the tests around a real one.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

use pointdown_core::record::Id;
use pointdown_server::store::{
    Changed, DeviceRow, Epoch, Joined, Joining, NewInvite, Noted, Role, SecretHash, Store,
    StoreError, Work,
};

use crate::support::memory;

/// A store that remembers whose log was read or written, and that may be told to see every device
/// as the owner that it was a moment ago.
pub(crate) struct Watched {
    inner: Arc<dyn Store>,
    touched: Mutex<Vec<Id>>,
    pub(crate) late: AtomicBool,
}

impl Default for Watched {
    fn default() -> Watched {
        Watched {
            inner: memory(),
            touched: Mutex::default(),
            late: AtomicBool::new(false),
        }
    }
}

impl Watched {
    fn note(&self, farm: Id) {
        self.touched.lock().unwrap().push(farm);
    }

    /// Whose log was touched since this was asked last.
    pub(crate) fn touched(&self) -> Vec<Id> {
        std::mem::take(&mut *self.touched.lock().unwrap())
    }
}

type Kept<T> = Result<T, StoreError>;

impl Store for Watched {
    fn epoch(&self) -> Kept<Epoch> {
        self.inner.epoch()
    }
    fn new_epoch(&self) -> Kept<Epoch> {
        self.inner.new_epoch()
    }
    fn farms(&self) -> Kept<Vec<Id>> {
        self.inner.farms()
    }
    fn add_invite(&self, invite: &NewInvite) -> Kept<()> {
        self.inner.add_invite(invite)
    }
    fn join(&self, joining: &Joining) -> Kept<Joined> {
        self.inner.join(joining)
    }
    fn device(&self, token: &SecretHash) -> Kept<Option<DeviceRow>> {
        let device = self.inner.device(token)?;
        let late = self.late.load(Ordering::Relaxed);
        Ok(device.map(|device| DeviceRow {
            role: if late { Role::Owner } else { device.role },
            ..device
        }))
    }
    fn devices(&self, farm: Id) -> Kept<Vec<DeviceRow>> {
        self.inner.devices(farm)
    }
    fn renew_token(&self, device: Id, next: &SecretHash, now: i64) -> Kept<()> {
        self.inner.renew_token(device, next, now)
    }
    fn settle_token(&self, next: &SecretHash) -> Kept<()> {
        self.inner.settle_token(next)
    }
    fn revoke(&self, farm: Id, device: Id, by: Option<Id>, now: i64) -> Kept<Changed> {
        self.inner.revoke(farm, device, by, now)
    }
    fn change_role(
        &self,
        farm: Id,
        device: Id,
        role: Role,
        by: Option<Id>,
        now: i64,
    ) -> Kept<Changed> {
        self.inner.change_role(farm, device, role, by, now)
    }
    fn audit(&self, farm: Id, before: Option<u64>, most: u32) -> Kept<Vec<Noted>> {
        self.inner.audit(farm, before, most)
    }
    fn ready(&self) -> Kept<()> {
        self.inner.ready()
    }
    fn heard(&self, farm: Id, device: Id, now: i64) -> Kept<()> {
        self.inner.heard(farm, device, now)
    }
    fn read_log(&self, farm: Id, work: Work<'_>) -> Kept<()> {
        self.note(farm);
        self.inner.read_log(farm, work)
    }
    fn write_log(&self, farm: Id, work: Work<'_>) -> Kept<()> {
        self.note(farm);
        self.inner.write_log(farm, work)
    }
}
