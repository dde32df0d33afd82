//! Who is asking: a bearer token for phones, a cookie for the kitchen screen.

use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use subtle::ConstantTimeEq;

use crate::app::{App, blocking};
use crate::error::ApiError;
use crate::secret::token_hash;
use crate::store::{DeviceKind, DeviceRow, Role, SecretHash, Store, StoreError};

/// The cookie of the kitchen screen.
pub(crate) const COOKIE: &str = "pointdown_screen";

/// The device that asks, by its `Authorization: Bearer` token.
pub(crate) struct Device(pub(crate) DeviceRow);

/// The device that asks, where it is an owner of its farm.
pub(crate) struct Owner(pub(crate) DeviceRow);

/// The device that asks, by the kitchen screen's cookie.
pub(crate) struct Screen(pub(crate) DeviceRow);

impl FromRequestParts<Arc<App>> for Device {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Device, ApiError> {
        let device = known(app, bearer(&parts.headers)).await?;
        // A screen hangs where anyone can reach it: it may read totals, nothing else.
        if device.kind == DeviceKind::Screen.as_str() {
            return Err(ApiError::token());
        }
        Ok(Device(device))
    }
}

impl FromRequestParts<Arc<App>> for Owner {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Owner, ApiError> {
        let Device(device) = Device::from_request_parts(parts, app).await?;
        if device.role != Role::Owner {
            return Err(ApiError::role());
        }
        Ok(Owner(device))
    }
}

impl FromRequestParts<Arc<App>> for Screen {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Screen, ApiError> {
        known(app, cookie(&parts.headers)).await.map(Screen)
    }
}

/// The hash of the token in the `Authorization` header.
pub(crate) fn bearer(headers: &HeaderMap) -> Option<SecretHash> {
    token_hash(bearer_text(headers)?)
}

/// What stands behind `Authorization: Bearer`.
pub(crate) fn bearer_text(headers: &HeaderMap) -> Option<&str> {
    let (scheme, token) = headers
        .get(header::AUTHORIZATION)?
        .to_str()
        .ok()?
        .split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

fn cookie(headers: &HeaderMap) -> Option<SecretHash> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .and_then(|(_, token)| token_hash(token))
}

async fn known(app: &Arc<App>, token: Option<SecretHash>) -> Result<DeviceRow, ApiError> {
    let token = token.ok_or_else(ApiError::token)?;
    let store = app.store.clone();
    let device = blocking(move || Ok(admitted(&*store, &token)?))
        .await?
        .ok_or_else(ApiError::token)?;
    app.usage.device(device.id)?;
    Ok(device)
}

/// The device with this token, if it is still let in. The first use of a fresh token is the end of
/// the one before.
pub(crate) fn admitted(
    store: &dyn Store,
    token: &SecretHash,
) -> Result<Option<DeviceRow>, StoreError> {
    let Some(device) = store.device(token)?.filter(|d| d.revoked_at.is_none()) else {
        return Ok(None);
    };
    // The search by hash says nothing about a token; the comparison takes the same time anyway.
    if bool::from(device.token.ct_eq(token)) {
        return Ok(Some(device));
    }
    let fresh = device
        .next_token
        .is_some_and(|next| next.ct_eq(token).into());
    if !fresh {
        return Ok(None);
    }
    store.settle_token(token)?;
    Ok(Some(device))
}
