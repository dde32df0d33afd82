use serde::Serialize;

use super::exchange::Joined;
use super::{ErrorKind, Farm, FarmError};
use crate::sync::JoinAsk;

/// Where an app carries the messages of [`Farm::sync_ask`], and the secret that lets it in.
#[derive(Clone, PartialEq, Eq, Serialize)]
pub struct Carrier {
    /// The server's address without a slash at the end.
    pub url: String,
    /// The device's secret, for the header `Authorization: Bearer`.
    pub token: String,
    /// Whether the secret is in use for so long that the app should ask for a fresh one, once it has
    /// exchanged everything: `POST /v1/token`, and the answer to [`Farm::keep_token`].
    pub renew: bool,
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
        let now = self.env.now();
        self.lock().store.read(|tx| {
            Ok(tx.meta::<Joined>("server")?.map(|joined| Carrier {
                renew: joined.is_old(now),
                url: joined.url,
                token: joined.token,
            }))
        })
    }

    /// Keeps a fresh secret in the place of the one before. The server takes both until the fresh one
    /// was used once: whoever stops before this has lost nothing and asks for another.
    ///
    /// # Errors
    /// [`ErrorKind::NotJoined`] without a server, [`ErrorKind::Damaged`] for what is no secret.
    pub fn keep_token(&self, token: &str) -> Result<(), FarmError> {
        let secret = token.len() == 64 && token.bytes().all(|b| b.is_ascii_hexdigit());
        if !secret {
            let message = "the server's answer holds no fresh token; the one before stays in use";
            return Err(FarmError::new(ErrorKind::Damaged, message));
        }
        let since = self.env.now().ms();
        self.lock().write(|tx| {
            let joined: Joined = tx.meta("server")?.ok_or_else(|| {
                FarmError::new(
                    ErrorKind::NotJoined,
                    "no server was joined yet; join one first",
                )
            })?;
            let fresh = Joined {
                token: token.into(),
                since,
                ..joined
            };
            Ok(tx.set_meta("server", &fresh)?)
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
