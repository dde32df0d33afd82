//! Getting in: invites and joining.

use std::sync::Arc;

use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::StatusCode;
use axum::{Extension, Json};
use pointdown_core::farm::Env;
use pointdown_core::record::{Actor, Id};
use pointdown_core::sync::{JoinAnswer, JoinAsk};
use serde::Serialize;

use crate::app::{App, blocking};
use crate::around::Whence;
use crate::error::ApiError;
use crate::openapi;
use crate::secret::{code_hash, new_code, new_token};
use crate::store::{DeviceKind, Joined, Joining, NewInvite, Role, Store, StoreError};

/// The longest name of a device, in characters.
const LONGEST_NAME: usize = 60;

/// The most actors that a device brings when it joins.
const MOST_ACTORS: usize = 1000;

/// How long an invite is good unless said otherwise, in hours.
pub const INVITE_HOURS: u32 = 48;

/// The longest that an invite may be good, in hours: thirty days.
pub const MOST_INVITE_HOURS: u32 = 30 * 24;

/// Whom an invite is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Invitation {
    /// The farm; nothing lets a device bring its own farm or begin one, as its owner.
    pub farm: Option<Id>,
    /// What the device may do there.
    pub role: Role,
    /// The device that invites; nothing for whoever runs the server.
    pub by: Option<Id>,
    /// How long the invite is good, in hours.
    pub hours: u32,
}

impl Default for Invitation {
    fn default() -> Invitation {
        Invitation {
            farm: None,
            role: Role::Helper,
            by: None,
            hours: INVITE_HOURS,
        }
    }
}

/// An invite as it is shown, once.
#[derive(Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct Invite {
    /// The code: 26 letters and digits.
    pub code: String,
    /// From when on it is no longer taken, milliseconds since 1970 UTC.
    pub expires: i64,
    /// The key by which phones know this server, where it made its own certificate: 64 hexadecimal
    /// digits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pin: Option<String>,
}

/// Makes an invite: to a farm, or an open one that lets a device bring its own farm or begin one.
///
/// # Errors
/// [`StoreError::NoSuchFarm`] where the farm is not kept here.
pub fn make_invite(
    store: &dyn Store,
    env: &dyn Env,
    invitation: &Invitation,
) -> Result<Invite, StoreError> {
    let code = new_code(env);
    let made_at = env.now().ms();
    let hours = invitation.hours.clamp(1, MOST_INVITE_HOURS);
    let expires = made_at + i64::from(hours) * 3_600_000;
    store.add_invite(&NewInvite {
        code: code.hash,
        farm: invitation.farm,
        made_at,
        expires,
        role: invitation.role,
        by: invitation.by,
    })?;
    Ok(Invite {
        code: code.text,
        expires,
        pin: None,
    })
}

/// Lets a device in, or says why not.
fn let_in(
    store: &dyn Store,
    env: &dyn Env,
    ask: &JoinAsk,
    kind: DeviceKind,
    begins: bool,
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
        begin: begins.then(|| id(&random[..10])),
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

/// Lets a device in with an invite, once, and gives it its token.
#[utoipa::path(
    post, path = "/v1/join", tag = "phones", request_body = openapi::JoinAsk,
    responses(
        (status = 200, description = "It is in.", body = openapi::JoinAnswer),
        (status = 400, description = "Something is not allowed; it is named.",
         body = openapi::Refused),
        (status = 403, description = "There is no such invite.", body = openapi::Refused),
        (status = 409, description = "The device keeps another farm.", body = openapi::Refused),
        (status = 410, description = "The invite was used or is too old.",
         body = openapi::Refused),
        (status = 429, description = "Too many invites were refused.", body = openapi::Refused),
    )
)]
pub(crate) async fn join(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    ask: Result<Json<JoinAsk>, JsonRejection>,
) -> Result<Json<JoinAnswer>, ApiError> {
    let Json(ask) = ask?;
    let joined = try_in(&app, whence, ask, DeviceKind::Phone, true).await;
    joined.map(Json)
}

/// Lets a device in, unless too many invites were refused to its address. With an open invite it
/// begins a farm where `begins` allows that.
pub(crate) async fn try_in(
    app: &Arc<App>,
    whence: Whence,
    ask: JoinAsk,
    kind: DeviceKind,
    begins: bool,
) -> Result<JoinAnswer, ApiError> {
    app.usage.may_join(whence.address)?;
    let inside = app.clone();
    let done = blocking(move || let_in(&*inside.store, &*inside.env, &ask, kind, begins)).await;
    if done.as_ref().is_err_and(ApiError::is_refused_invite) {
        app.usage.join_refused(whence.address);
    }
    done
}
