//! Who belongs to a farm: inviting, the list of devices, roles, tokens, shutting one out, and the
//! audit log of all that.

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, JsonRejection, PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use pointdown_core::record::Id;
use pointdown_core::sync::pin_text;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::app::{App, blocking};
use crate::auth::{Device, Owner};
use crate::error::ApiError;
use crate::members::{INVITE_HOURS, Invitation, Invite, MOST_INVITE_HOURS, make_invite};
use crate::openapi::Refused;
use crate::secret::new_token;
use crate::store::{Changed, DeviceRow, Noted, Role};

/// The most lines of the audit log in one answer.
const MOST_LINES: u32 = 500;

/// Whom an invite is for; an empty body invites a helper for two days.
#[derive(Deserialize, ToSchema)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct InviteAsk {
    /// What the device may do that comes with it.
    role: Role,
    /// How long it is good, in hours: 1 to 720.
    hours: u32,
}

impl Default for InviteAsk {
    fn default() -> InviteAsk {
        InviteAsk {
            role: Role::Helper,
            hours: INVITE_HOURS,
        }
    }
}

/// Makes an invite to the own farm: one device joins with it, once. An empty body invites a helper
/// for two days.
#[utoipa::path(
    post, path = "/v1/invites", tag = "people", security(("token" = [])),
    request_body = Option<InviteAsk>,
    responses(
        (status = 201, description = "The invite, shown once.", body = Invite),
        (status = 400, description = "Something is not allowed; it is named.", body = Refused),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
        (status = 403, description = "Only an owner may.", body = Refused),
    )
)]
pub(crate) async fn invite(
    State(app): State<Arc<App>>,
    Owner(device): Owner,
    body: Result<Bytes, BytesRejection>,
) -> Result<(StatusCode, Json<Invite>), ApiError> {
    let body = body?;
    let ask: InviteAsk = if body.trim_ascii().is_empty() {
        InviteAsk::default()
    } else {
        serde_json::from_slice(&body).map_err(|e| ApiError::invalid(e.to_string()))?
    };
    if !(1..=MOST_INVITE_HOURS).contains(&ask.hours) {
        return Err(ApiError::invalid(format!(
            "hours: {} is not allowed; allowed are 1 to {MOST_INVITE_HOURS}",
            ask.hours
        )));
    }
    let invitation = Invitation {
        farm: Some(device.farm),
        role: ask.role,
        by: Some(device.id),
        hours: ask.hours,
    };
    let pin = app.pin.as_ref().map(pin_text);
    let invite = blocking(move || Ok(make_invite(&*app.store, &*app.env, &invitation)?)).await?;
    let invite = Invite { pin, ..invite };
    Ok((StatusCode::CREATED, Json(invite)))
}

/// A device in the list.
#[derive(Serialize, ToSchema)]
pub(crate) struct Listed {
    #[schema(value_type = String)]
    id: Id,
    name: String,
    /// `phone` or `screen`.
    kind: String,
    role: Role,
    /// When it joined, milliseconds since 1970 UTC.
    joined_at: i64,
    /// When it last synced, milliseconds since 1970 UTC.
    heard_at: Option<i64>,
    /// When it was shut out, milliseconds since 1970 UTC.
    revoked_at: Option<i64>,
    /// Whether it is the one that asks.
    me: bool,
}

/// Who belongs to the own farm.
#[utoipa::path(
    get, path = "/v1/devices", tag = "people", security(("token" = [])),
    responses(
        (status = 200, description = "Its devices.", body = Vec<Listed>),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
    )
)]
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
        role: row.role,
        joined_at: row.joined_at,
        heard_at: row.heard_at,
        revoked_at: row.revoked_at,
    });
    Ok(Json(listed.collect()))
}

/// Shuts a device out, at once: an owner any of its farm, every device itself.
#[utoipa::path(
    delete, path = "/v1/devices/{id}", tag = "people", security(("token" = [])),
    params(("id" = String, Path, description = "The device, as the list names it.")),
    responses(
        (status = 204, description = "It is out."),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
        (status = 403, description = "Only an owner may.", body = Refused),
        (status = 404, description = "The farm has no such device.", body = Refused),
        (status = 409, description = "It is the farm's last owner.", body = Refused),
    )
)]
pub(crate) async fn revoke(
    State(app): State<Arc<App>>,
    Device(device): Device,
    id: Result<Path<Id>, PathRejection>,
) -> Result<StatusCode, ApiError> {
    let Path(id) = id?;
    if device.role != Role::Owner && id != device.id {
        return Err(ApiError::role());
    }
    shut_out(&app, &device, id).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Shuts a device of the farm out and ends its event streams.
pub(crate) async fn shut_out(app: &Arc<App>, by: &DeviceRow, device: Id) -> Result<(), ApiError> {
    let (store, now, farm, by) = (app.store.clone(), app.now(), by.farm, by.id);
    let done = blocking(move || Ok(store.revoke(farm, device, Some(by), now)?)).await?;
    app.wake.wake(farm);
    changed(done)?;
    tracing::info!(%farm, %device, %by, "a device was shut out");
    Ok(())
}

fn changed(done: Changed) -> Result<(), ApiError> {
    match done {
        Changed::Done => Ok(()),
        Changed::NoDevice => Err(ApiError::new(
            StatusCode::NOT_FOUND,
            "no_device",
            "this farm has no such device, or it was shut out before",
        )),
        Changed::LastOwner => Err(ApiError::new(
            StatusCode::CONFLICT,
            "last_owner",
            "this is the farm's last owner; make another phone an owner first",
        )),
    }
}

/// A role for a device.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct RoleAsk {
    role: Role,
}

/// Gives a phone of the own farm a role.
#[utoipa::path(
    put, path = "/v1/devices/{id}/role", tag = "people", security(("token" = [])),
    params(("id" = String, Path, description = "The device, as the list names it.")),
    request_body = RoleAsk,
    responses(
        (status = 204, description = "It has the role."),
        (status = 400, description = "Something is not allowed; it is named.", body = Refused),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
        (status = 403, description = "Only an owner may.", body = Refused),
        (status = 404, description = "The farm has no such device.", body = Refused),
        (status = 409, description = "It is the farm's last owner.", body = Refused),
    )
)]
pub(crate) async fn role(
    State(app): State<Arc<App>>,
    Owner(owner): Owner,
    id: Result<Path<Id>, PathRejection>,
    ask: Result<Json<RoleAsk>, JsonRejection>,
) -> Result<StatusCode, ApiError> {
    let (Path(device), Json(RoleAsk { role })) = (id?, ask?);
    let (store, now, farm, by) = (app.store.clone(), app.now(), owner.farm, owner.id);
    let done = blocking(move || Ok(store.change_role(farm, device, role, Some(by), now)?)).await?;
    changed(done)?;
    tracing::info!(%farm, %device, %by, role = role.as_str(), "a device has another role");
    Ok(StatusCode::NO_CONTENT)
}

/// A fresh token.
#[derive(Serialize, ToSchema)]
pub(crate) struct Fresh {
    /// 64 hexadecimal digits, shown once.
    token: String,
}

/// Gives a fresh token. The old one is good until the fresh one was used once, so that a lost answer
/// shuts nobody out.
#[utoipa::path(
    post, path = "/v1/token", tag = "people", security(("token" = [])),
    responses(
        (status = 201, description = "The token, shown once.", body = Fresh),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
    )
)]
pub(crate) async fn token(
    State(app): State<Arc<App>>,
    Device(device): Device,
) -> Result<(StatusCode, Json<Fresh>), ApiError> {
    let fresh = new_token(&*app.env);
    let (hash, now) = (fresh.hash, app.now());
    blocking(move || Ok(app.store.renew_token(device.id, &hash, now)?)).await?;
    Ok((StatusCode::CREATED, Json(Fresh { token: fresh.text })))
}

/// Which lines of the audit log.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct AuditAsk {
    /// Only lines with a lower number; the newest without it.
    before: Option<u64>,
}

/// A line of the audit log.
#[derive(Serialize, ToSchema)]
pub(crate) struct Line {
    /// Its number: from 1, without a gap.
    n: u64,
    /// When, milliseconds since 1970 UTC.
    at: i64,
    /// `invited`, `joined`, `revoked`, `role` or `token`.
    event: String,
    /// The device that did it, or whose invite it was; nothing for whoever runs the server.
    #[schema(value_type = Option<String>)]
    by: Option<Id>,
    by_name: Option<String>,
    /// The device that it was done to.
    #[schema(value_type = Option<String>)]
    device: Option<Id>,
    device_name: Option<String>,
    /// The role that was given.
    role: Option<String>,
}

/// Who was invited, joined, was shut out or got a role, and by whom: the newest 500 lines, or those
/// before a number.
#[utoipa::path(
    get, path = "/v1/audit", tag = "people", security(("token" = [])),
    params(("before" = Option<u64>, Query, description = "Only lines with a lower number.")),
    responses(
        (status = 200, description = "Newest first.", body = Vec<Line>),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
        (status = 403, description = "Only an owner may.", body = Refused),
    )
)]
pub(crate) async fn audit(
    State(app): State<Arc<App>>,
    Owner(owner): Owner,
    ask: Result<Query<AuditAsk>, QueryRejection>,
) -> Result<Json<Vec<Line>>, ApiError> {
    let Query(AuditAsk { before }) = ask?;
    blocking(move || {
        let devices = app.store.devices(owner.farm)?;
        let name = |id: Option<Id>| {
            let row = devices.iter().find(|d| Some(d.id) == id);
            row.map(|d| d.name.clone())
        };
        let lines = app.store.audit(owner.farm, before, MOST_LINES)?;
        let line = |noted: Noted| Line {
            by_name: name(noted.by),
            device_name: name(noted.device),
            n: noted.n,
            at: noted.at,
            event: noted.event,
            by: noted.by,
            device: noted.device,
            role: noted.role,
        };
        Ok(Json(lines.into_iter().map(line).collect()))
    })
    .await
}
