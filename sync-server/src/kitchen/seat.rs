//! Who sits before the screen: its device, its language, and the person who decides.

use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use data_encoding::HEXLOWER;
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::record::Id;
use sha2::{Digest as _, Sha256};
use subtle::ConstantTimeEq as _;

use super::cookies::cookie;
use super::words::Words;
use crate::app::{App, blocking};
use crate::auth::Screen;
use crate::error::ApiError;
use crate::store::{DeviceRow, Role};

/// The cookie with the id of the person who decides here.
pub(super) const PERSON: &str = "pointdown_person";

/// A header that no other site can make a browser send along: the guard of requests by script.
pub(super) const GUARD: &str = "pointdown-screen";

/// A screen that is let in.
#[derive(Debug, Clone)]
pub(super) struct Seat {
    pub(super) device: DeviceRow,
    pub(super) words: Words,
    /// Who said that it is them; whether the farm knows them is for the farm to say.
    pub(super) person: Option<Id>,
}

/// Whoever asks for a page.
#[derive(Debug, Clone)]
pub(super) struct Guest {
    pub(super) words: Words,
    /// Nothing where the screen is not let in.
    pub(super) seat: Option<Seat>,
}

impl Seat {
    /// Whether choices are offered here at all.
    pub(super) fn decides(&self) -> bool {
        self.device.role != Role::Reader
    }

    pub(super) fn owns(&self) -> bool {
        self.device.role == Role::Owner
    }

    /// What each form of this screen carries. It follows from the secret in the cookie, which no
    /// other site can read; nothing else follows from it.
    pub(super) fn key(&self) -> String {
        let mut hash = Sha256::new();
        hash.update(b"pointdown kitchen form 1\0");
        hash.update(self.device.token);
        HEXLOWER.encode(&hash.finalize())
    }

    /// Refuses a form that this screen's own page did not make.
    pub(super) fn check(&self, headers: &HeaderMap, key: &str) -> Result<(), ApiError> {
        let own: bool = self.key().as_bytes().ct_eq(key.as_bytes()).into();
        match own && whence(headers) != Whence::Elsewhere {
            true => Ok(()),
            false => Err(forged()),
        }
    }
}

impl FromRequestParts<Arc<App>> for Guest {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Guest, ApiError> {
        let words = Words::of(&parts.headers);
        let person = cookie(&parts.headers, PERSON).and_then(|id| id.parse().ok());
        let seat = match Screen::from_request_parts(parts, app).await {
            Ok(Screen(device)) => Some(Seat {
                device,
                words,
                person,
            }),
            Err(e) if e.is_token() => None,
            Err(e) => return Err(e),
        };
        Ok(Guest { words, seat })
    }
}

impl FromRequestParts<Arc<App>> for Seat {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Seat, ApiError> {
        let guest = Guest::from_request_parts(parts, app).await?;
        guest.seat.ok_or_else(ApiError::token)
    }
}

/// Whence a request says it comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Whence {
    /// From this server's own page.
    Here,
    /// It does not say.
    Unsaid,
    Elsewhere,
}

/// What the browser says by itself, and no page can make it say otherwise: the origin (RFC 6454) and
/// Fetch Metadata (W3C).
fn whence(headers: &HeaderMap) -> Whence {
    let text = |name: &str| headers.get(name).map(|v| v.to_str().unwrap_or_default());
    let site = text("sec-fetch-site");
    let origin = text(header::ORIGIN.as_str());
    let host = text(header::HOST.as_str());
    let same_origin = origin.map(|origin| {
        let of = origin.split_once("://").map(|(_, site)| site);
        of.is_some() && of == host
    });
    match (site, same_origin) {
        (None, None) => Whence::Unsaid,
        (Some(site), same) if site != "same-origin" || same == Some(false) => Whence::Elsewhere,
        (None, Some(false)) => Whence::Elsewhere,
        _ => Whence::Here,
    }
}

/// Refuses what does not come from the screen's own page, where no secret says who asks: it has to
/// say so, by the guard of scripts or by the browser's own word.
pub(super) fn own_page(headers: &HeaderMap, scripted: bool) -> Result<(), ApiError> {
    let said = match scripted {
        true => headers.contains_key(GUARD) && whence(headers) != Whence::Elsewhere,
        false => whence(headers) == Whence::Here,
    };
    said.then_some(()).ok_or_else(forged)
}

fn forged() -> ApiError {
    ApiError::new(
        StatusCode::FORBIDDEN,
        "forged",
        "this request did not come from the kitchen screen's own page",
    )
}

/// The farm's devices as the store knows them.
pub(super) async fn devices(app: &Arc<App>, farm: Id) -> Result<Vec<DeviceRow>, ApiError> {
    let app = app.clone();
    blocking(move || Ok(app.store.devices(farm)?)).await
}

/// Reads the farm's replica.
pub(super) async fn look<T: Send + 'static>(
    app: Arc<App>,
    farm: Id,
    work: impl FnOnce(&App, &Farm) -> Result<T, FarmError> + Send + 'static,
) -> Result<T, ApiError> {
    blocking(move || {
        let read = |replica: &Farm| work(&app, replica);
        app.replicas
            .read(&*app.store, &app.env, farm, read)
            .map_err(|e| {
                tracing::error!(%farm, error = %e, "the replica cannot be read");
                ApiError::internal()
            })
    })
    .await
}
