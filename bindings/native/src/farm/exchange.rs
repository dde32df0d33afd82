use std::sync::Arc;

use pointdown_core::farm::{FarmError, Join};

use super::Farm;
use crate::mirror::Mirror;
use crate::{CancelToken, Carrier, Exchange, Heard, Invite, Listener, PointdownError, Status};

/// The library speaks to the server.
#[uniffi::export]
impl Farm {
    /// Joins a server with the farm that is here, and exchanges everything. `url` is the server's
    /// address, or the whole link of an invite, for which `code` is not looked at. The token stops it
    /// at once: before the server's answer, the farm is not joined, and the invite may be used up all
    /// the same, so ask for another; after it, the farm is joined, and the next exchange goes on.
    #[uniffi::method(default(cancel = None))]
    pub fn join(
        &self,
        url: String,
        code: String,
        device: String,
        cancel: Option<Arc<CancelToken>>,
    ) -> Result<Exchange, PointdownError> {
        let join = Join {
            url: &url,
            invite: &code,
            device: &device,
        };
        let farm = self.core()?;
        let done = match cancel {
            Some(cancel) => farm.join_until(&join, &|| cancel.is_cancelled())?,
            None => farm.join(&join)?,
        };
        Ok(done.mirror())
    }

    /// Exchanges with the joined server until both sides hold the same. Losing the connection halfway
    /// loses nothing; the next exchange goes on from there. The token stops it at once.
    pub fn sync(&self, cancel: Option<Arc<CancelToken>>) -> Result<Exchange, PointdownError> {
        let farm = self.core()?;
        let done = match cancel {
            Some(cancel) => farm.sync_until(&|| cancel.is_cancelled())?,
            None => farm.sync()?,
        };
        Ok(done.mirror())
    }

    /// Waits for the server's word that there is something newer, and passes it on, until the
    /// connection ends, the listener fails, or the token stops it. Then an app syncs.
    pub fn listen(
        &self,
        cancel: Arc<CancelToken>,
        listener: Arc<dyn Listener>,
    ) -> Result<(), PointdownError> {
        let farm = self.core()?;
        let poke = || listener.newer().is_ok();
        Ok(farm.listen_until(&|| cancel.is_cancelled(), poke)?)
    }

    /// Asks the server for an invite for another device of this farm.
    pub fn invite(&self) -> Result<Invite, PointdownError> {
        Ok(self.core()?.invite_link()?.mirror())
    }

    /// What is synced and what is not.
    pub fn status(&self) -> Result<Status, PointdownError> {
        Ok(self.core()?.status()?.mirror())
    }
}

/// The app carries the bytes itself.
#[uniffi::export]
impl Farm {
    /// Where to bring the messages, once a server was joined.
    pub fn carrier(&self) -> Result<Option<Carrier>, PointdownError> {
        Ok(self.core()?.carrier()?.mirror())
    }

    /// What a device with this farm sends to `POST /v1/join`, as JSON.
    pub fn join_ask(&self, code: String, device: String) -> Result<String, PointdownError> {
        let ask = self.core()?.join_ask(&code, &device);
        Ok(serde_json::json!(ask).to_string())
    }

    /// Remembers the server and the token that it answered with.
    pub fn joined(&self, url: String, token: String) -> Result<(), PointdownError> {
        Ok(self.core()?.joined(&url, &token)?)
    }

    /// The next message for `POST /v1/sync`, of the type `application/cbor`.
    pub fn sync_ask(&self) -> Result<Vec<u8>, PointdownError> {
        Ok(self.core()?.sync_ask()?)
    }

    /// Takes the answer. A damaged one changes nothing.
    pub fn sync_hear(&self, answer: Vec<u8>) -> Result<Heard, PointdownError> {
        Ok(self.core()?.sync_hear(&answer)?.mirror())
    }

    /// An exchange that was cut off is begun anew.
    pub fn sync_anew(&self) -> Result<(), PointdownError> {
        self.core()?.sync_anew();
        Ok(())
    }

    /// What an app does after an exchange that it carried: folds closed months together.
    pub fn tidy(&self) -> Result<(), PointdownError> {
        self.core()?.tidy().map(|_| ()).map_err(FarmError::into)
    }
}
