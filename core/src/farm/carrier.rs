use serde::Serialize;

use super::exchange::Joined;
use super::{Farm, FarmError};
use crate::sync::JoinAsk;

/// Where an app carries the messages of [`Farm::sync_ask`], and the secret that lets it in.
#[derive(Clone, PartialEq, Eq, Serialize)]
pub struct Carrier {
    /// The server's address without a slash at the end.
    pub url: String,
    /// The device's secret, for the header `Authorization: Bearer`.
    pub token: String,
}

/// The secret stays out of logs.
impl std::fmt::Debug for Carrier {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Carrier")
            .field("url", &self.url)
            .finish_non_exhaustive()
    }
}

impl Farm {
    /// The server that was joined, for an app that brings the messages there itself.
    pub fn carrier(&self) -> Result<Option<Carrier>, FarmError> {
        self.lock().store.read(|tx| {
            Ok(tx.meta::<Joined>("server")?.map(|joined| Carrier {
                url: joined.url,
                token: joined.token,
            }))
        })
    }

    /// What a device with this farm sends to `POST /v1/join`. The answer goes to [`Farm::joined`].
    pub fn join_ask(&self, invite: &str, device: &str) -> JoinAsk {
        let inner = self.lock();
        JoinAsk {
            invite: invite.trim().to_string(),
            farm: Some(inner.me.farm),
            name: device.to_string(),
            actors: inner.me.actors.clone(),
        }
    }

    /// An exchange that was cut off is begun anew: what the server refused is tried again, too.
    pub fn sync_anew(&self) {
        let mut inner = self.lock();
        inner.underway = None;
        inner.exchanging = false;
    }
}
