//! Who waits for news of a farm, and who wakes them.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use pointdown_core::record::Id;
use tokio::sync::watch;

use crate::store::Store;

/// Wakes the event streams of a farm, here and in other processes on the same store.
pub(crate) struct Wake {
    store: Arc<dyn Store>,
    farms: Mutex<HashMap<Id, watch::Sender<()>>>,
    closing: watch::Sender<bool>,
}

impl Wake {
    pub(crate) fn new(store: Arc<dyn Store>) -> Wake {
        Wake {
            store,
            farms: Mutex::default(),
            closing: watch::Sender::new(false),
        }
    }

    /// Something about the farm changed.
    pub(crate) fn wake(&self, farm: Id) {
        self.wake_here(Some(farm));
        self.store.tell(farm);
    }

    /// Another process said so; without a farm it may be any.
    pub(crate) fn wake_here(&self, farm: Option<Id>) {
        let farms = self.farms.lock().unwrap_or_else(PoisonError::into_inner);
        match farm {
            Some(farm) => {
                if let Some(sender) = farms.get(&farm) {
                    sender.send_replace(());
                }
            }
            None => farms.values().for_each(|sender| {
                sender.send_replace(());
            }),
        }
    }

    /// Whether the server is about to stop.
    pub(crate) fn is_closing(&self) -> bool {
        *self.closing.borrow()
    }

    /// The server stops: every stream ends.
    pub(crate) fn close(&self) {
        self.closing.send_replace(true);
    }

    /// Ends when the server stops.
    pub(crate) fn closing(&self) -> watch::Receiver<bool> {
        self.closing.subscribe()
    }

    /// Changes whenever something about the farm does.
    pub(crate) fn of(&self, farm: Id) -> watch::Receiver<()> {
        let mut farms = self.farms.lock().unwrap_or_else(PoisonError::into_inner);
        // Farms that nobody listens to any more need no entry.
        farms.retain(|id, sender| *id == farm || sender.receiver_count() > 0);
        farms.entry(farm).or_default().subscribe()
    }
}
