//! Who belongs to a farm: invites, joining, the list of devices, shutting one out.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use pointdown_core::farm::Env;
use pointdown_core::record::{Actor, Id};
use pointdown_core::sync::{JoinAnswer, JoinAsk};
use serde::Serialize;

use crate::app::{App, blocking};
use crate::auth::Device;
use crate::error::ApiError;
use crate::secret::{code_hash, new_code, new_token};
use crate::store::{DeviceKind, DeviceRow, Joined, Joining, NewInvite, Store, StoreError};

/// The longest name of a device, in characters.
const LONGEST_NAME: usize = 60;

/// The most actors that a device brings when it joins.
const MOST_ACTORS: usize = 1000;

/// How long an invite is good unless said otherwise, in hours.
pub const INVITE_HOURS: u32 = 48;

/// An invite as it is shown, once.
#[derive(Clone, PartialEq, Eq, Serialize)]
pub struct Invite {
    /// The code: 26 letters and digits.
    pub code: String,
    /// From when on it is no longer taken, milliseconds since 1970 UTC.
    pub expires: i64,
}

/// Makes an invite: to a farm, or an open one that lets a device bring its own farm or begin one.
///
/// # Errors
/// [`StoreError::NoSuchFarm`] where the farm is not kept here.
pub fn make_invite(
    store: &dyn Store,
    env: &dyn Env,
    farm: Option<Id>,
    hours: u32,
) -> Result<Invite, StoreError> {
    let code = new_code(env);
    let made_at = env.now().ms();
    let expires = made_at + i64::from(hours) * 3_600_000;
    store.add_invite(&NewInvite {
        code: code.hash,
        farm,
        made_at,
        expires,
    })?;
    Ok(Invite {
        code: code.text,
        expires,
    })
}

/// Lets a device in, or says why not.
pub(crate) fn let_in(
    store: &dyn Store,
    env: &dyn Env,
    ask: &JoinAsk,
    kind: DeviceKind,
) -> Result<JoinAnswer, ApiError> {
    let now = env.now().ms();
    let name = ask.name.trim();
    if name.is_empty() || name.chars().count() > LONGEST_NAME || name.contains(char::is_control) {
        let shown: String = name.chars().take(LONGEST_NAME).collect();
        return Err(ApiError::invalid(format!(
            "name: {shown:?} is not allowed; allowed are 1 to {LONGEST_NAME} characters"
        )));
    }
    let code = code_hash(&ask.invite).ok_or_else(|| refused(Joined::Unknown))?;
    let token = new_token(env);
    let mut random = [0u8; 20];
    env.fill(&mut random);
    let id = |part: &[u8]| Id::at(now, part.try_into().unwrap_or_default());
    let joined = store.join(&Joining {
        code,
        farm: ask.farm,
        begin: (kind == DeviceKind::Phone).then(|| id(&random[..10])),
        device: id(&random[10..]),
        name: name.into(),
        kind,
        token: token.hash,
        actors: actors(&ask.actors)?,
        now,
    })?;
    let Joined::In(farm) = joined else {
        return Err(refused(joined));
    };
    tracing::info!(%farm, kind = kind.as_str(), "a device joined");
    Ok(JoinAnswer {
        farm,
        token: token.text,
    })
}

fn actors(hex: &[String]) -> Result<Vec<Actor>, ApiError> {
    if hex.len() > MOST_ACTORS {
        return Err(ApiError::invalid(format!(
            "actors: {} are not allowed; allowed are {MOST_ACTORS}",
            hex.len()
        )));
    }
    hex.iter()
        .map(|text| {
            data_encoding::HEXLOWER_PERMISSIVE
                .decode(text.as_bytes())
                .ok()
                .and_then(|bytes| Actor::from_slice(&bytes))
                .ok_or_else(|| {
                    let shown: String = text.chars().take(40).collect();
                    ApiError::invalid(format!(
                        "actors: {shown:?} is not allowed; allowed are 32 hexadecimal digits"
                    ))
                })
        })
        .collect()
}

fn refused(joined: Joined) -> ApiError {
    let (status, error, message) = match joined {
        Joined::Used => (
            StatusCode::GONE,
            "invite_used",
            "this invite was used already; each lets one device in, ask for a new one",
        ),
        Joined::Expired => (
            StatusCode::GONE,
            "invite_expired",
            "this invite is too old; ask for a new one",
        ),
        Joined::OtherFarm => (
            StatusCode::CONFLICT,
            "other_farm",
            "this phone keeps another farm than the one the invite is for; to join that one, use \
             a new database. The invite was not used up",
        ),
        Joined::Unknown | Joined::In(_) => (
            StatusCode::FORBIDDEN,
            "invite",
            "this invite does not let this device in; check the code, or ask someone of the farm \
             for an invite to it",
        ),
    };
    ApiError::new(status, error, message)
}

/// `POST /v1/join`
pub(crate) async fn join(
    State(app): State<Arc<App>>,
    ask: Result<Json<JoinAsk>, JsonRejection>,
) -> Result<Json<JoinAnswer>, ApiError> {
    let Json(ask) = ask?;
    blocking(move || let_in(&*app.store, &*app.env, &ask, DeviceKind::Phone))
        .await
        .map(Json)
}

/// `POST /v1/invites`
pub(crate) async fn invite(
    State(app): State<Arc<App>>,
    Device(device): Device,
) -> Result<(StatusCode, Json<Invite>), ApiError> {
    let invite = blocking(move || {
        let farm = Some(device.farm);
        Ok(make_invite(&*app.store, &*app.env, farm, INVITE_HOURS)?)
    })
    .await?;
    Ok((StatusCode::CREATED, Json(invite)))
}

/// A device in the list.
#[derive(Serialize)]
pub(crate) struct Listed {
    id: Id,
    name: String,
    kind: String,
    joined_at: i64,
    heard_at: Option<i64>,
    revoked_at: Option<i64>,
    /// Whether it is the one that asks.
    me: bool,
}

/// `GET /v1/devices`
pub(crate) async fn devices(
    State(app): State<Arc<App>>,
    Device(device): Device,
) -> Result<Json<Vec<Listed>>, ApiError> {
    let (me, farm) = (device.id, device.farm);
    let all = blocking(move || Ok(app.store.devices(farm)?)).await?;
    let listed = all.into_iter().map(|row: DeviceRow| Listed {
        me: row.id == me,
        id: row.id,
        name: row.name,
        kind: row.kind,
        joined_at: row.joined_at,
        heard_at: row.heard_at,
        revoked_at: row.revoked_at,
    });
    Ok(Json(listed.collect()))
}

/// `DELETE /v1/devices/{id}`
pub(crate) async fn revoke(
    State(app): State<Arc<App>>,
    Device(device): Device,
    id: Result<Path<Id>, PathRejection>,
) -> Result<StatusCode, ApiError> {
    let Path(id) = id?;
    shut_out(&app, device.farm, id).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Shuts a device of a farm out and ends its event streams.
pub(crate) async fn shut_out(app: &Arc<App>, farm: Id, device: Id) -> Result<(), ApiError> {
    let (store, now) = (app.store.clone(), app.now());
    let done = blocking(move || Ok(store.revoke(farm, device, now)?)).await?;
    app.wake.wake(farm);
    if !done {
        return Err(ApiError::new(
            StatusCode::NOT_FOUND,
            "no_device",
            "this farm has no such device, or it was shut out before",
        ));
    }
    tracing::info!(%farm, %device, "a device was shut out");
    Ok(())
}
