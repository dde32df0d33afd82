//! What the forms of the screen do. Each carries the screen's key, and each ends at a page that says
//! what came of it.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use pointdown_core::farm::{ErrorKind, Farm, FarmError};
use pointdown_core::record::Id;
use serde::Deserialize;
use utoipa::ToSchema;

use super::author::{Chosen, NotDone, people, take_back, write};
use super::cookies::{secure, set};
use super::door::COOKIE_SECONDS;
use super::frame::Tab;
use super::own::{Keyed, Own};
use super::people::{house, invited};
use super::review::{decider, made};
use super::seat::{PERSON, Seat, look};
use crate::app::{App, blocking};
use crate::around::Whence;
use crate::error::ApiError;
use crate::members::{INVITE_HOURS, Invitation, make_invite};
use crate::openapi::Refused;
use crate::roster::shut_out;
use crate::store::{Changed, Role};

/// Every form here carries the screen's key under one name.
macro_rules! keyed {
    ($($form:ty),+ $(,)?) => {
        $(impl Keyed for $form {
            fn key(&self) -> &str {
                &self.key
            }
        })+
    };
}
keyed!(
    ChoiceForm, UndoForm, PersonForm, InviteForm, RoleForm, OutForm
);

fn to(tab: Tab, said: &str) -> Response {
    Redirect::to(&format!("{}?said={said}", tab.path())).into_response()
}

/// A choice of a line of the review list.
#[derive(Deserialize, ToSchema)]
pub(super) struct ChoiceForm {
    key: String,
    line: String,
    tag: String,
    choice: usize,
    /// The eggs that were counted.
    counted: Option<String>,
}

/// Carries out a choice of the review list, in the name of the person at the screen.
#[utoipa::path(
    post, path = "/kitchen/choose", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = ChoiceForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "The page follows and says what came of it."),
        (status = 400, description = "The form cannot be read.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page, or the screen only reads.", body = Refused),
    )
)]
pub(super) async fn choose(
    State(app): State<Arc<App>>,
    Own { seat, form, .. }: Own<ChoiceForm>,
) -> Result<Response, ApiError> {
    let counted = form.counted.as_deref().map(str::trim);
    let counted = match counted {
        Some(text) => match text.parse() {
            Ok(n) => Some(n),
            Err(_) => return Ok(to(Tab::Review, "count")),
        },
        None => None,
    };
    let chosen = Chosen {
        line: form.line,
        tag: form.tag,
        choice: form.choice,
        counted,
    };
    written(app, seat, "done", move |farm| chosen.make(farm)).await
}

/// What was made by a choice, to be taken back.
#[derive(Deserialize, ToSchema)]
pub(super) struct UndoForm {
    key: String,
    /// The records, joined by dots.
    made: String,
}

/// Takes a choice back: what it made is voided, and the line comes back.
#[utoipa::path(
    post, path = "/kitchen/undo", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = UndoForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "The page follows and says what came of it."),
        (status = 400, description = "The form cannot be read.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page, or the screen only reads.", body = Refused),
    )
)]
pub(super) async fn undo(
    State(app): State<Arc<App>>,
    Own { seat, form, .. }: Own<UndoForm>,
) -> Result<Response, ApiError> {
    let ids = made(Some(&form.made));
    let why = seat.words.t("undo.why");
    written(app, seat, "undone", move |farm| take_back(farm, &ids, &why)).await
}

/// Writes as the person at the screen, and says how it went.
async fn written(
    app: Arc<App>,
    seat: Seat,
    said: &str,
    work: impl FnOnce(&Farm) -> Result<Vec<Id>, FarmError> + Send + 'static,
) -> Result<Response, ApiError> {
    if !seat.decides() {
        return Err(ApiError::role());
    }
    let asked = seat.clone();
    let farm = seat.device.farm;
    let person = look(app.clone(), farm, move |_, farm| {
        Ok(decider(&asked, &people(farm)?))
    })
    .await?;
    let Some(person) = person else {
        return Ok(to(Tab::Review, "who"));
    };
    let device = seat.device;
    let done = blocking(move || Ok(write(&app, &device, person, work))).await?;
    match done {
        Ok(made) => {
            let ids: Vec<String> = made.iter().map(Id::to_string).collect();
            let made = ids.join(".");
            Ok(to(Tab::Review, &format!("{said}&made={made}")))
        }
        Err(NotDone::Farm(e)) if e.kind == ErrorKind::NotFound => Ok(to(Tab::Review, "changed")),
        Err(NotDone::Farm(e)) if e.kind == ErrorKind::Invalid => {
            let counted = e.invalid.as_ref().is_some_and(|i| i.field == "counted");
            Ok(to(Tab::Review, if counted { "count" } else { "changed" }))
        }
        Err(NotDone::NotTaken(why)) => {
            tracing::error!(%farm, why, "a choice at the screen was not taken");
            Ok(to(Tab::Review, "failed"))
        }
        Err(e) => Err(e.into()),
    }
}

/// Who decides at the screen.
#[derive(Deserialize, ToSchema)]
pub(super) struct PersonForm {
    key: String,
    #[schema(value_type = String)]
    person: Id,
}

/// Remembers who decides here, on this screen only.
#[utoipa::path(
    post, path = "/kitchen/person", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = PersonForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "The page follows."),
        (status = 400, description = "The form cannot be read.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page.", body = Refused),
    )
)]
pub(super) async fn person(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    Own { headers, form, .. }: Own<PersonForm>,
) -> Result<Response, ApiError> {
    let secure = secure(&app, whence, &headers);
    let cookie = set(PERSON, &form.person.to_string(), COOKIE_SECONDS, secure)?;
    let to = Redirect::to(Tab::Review.path());
    Ok(([(header::SET_COOKIE, cookie)], to).into_response())
}

/// Whom to invite.
#[derive(Deserialize, ToSchema)]
pub(super) struct InviteForm {
    key: String,
    role: Role,
}

/// Makes an invite and shows it, once.
#[utoipa::path(
    post, path = "/kitchen/invite", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = InviteForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 200, description = "The page with the invite.", body = String, content_type = "text/html"),
        (status = 400, description = "The form cannot be read.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page, or not an owner's screen.", body = Refused),
    )
)]
pub(super) async fn invite(
    State(app): State<Arc<App>>,
    Own {
        seat,
        headers,
        form,
    }: Own<InviteForm>,
) -> Result<Response, ApiError> {
    owner(&seat)?;
    let invitation = Invitation {
        farm: Some(seat.device.farm),
        role: form.role,
        by: Some(seat.device.id),
        hours: INVITE_HOURS,
    };
    let inside = app.clone();
    let made =
        blocking(move || Ok(make_invite(&*inside.store, &*inside.env, &invitation)?)).await?;
    let house = house(app.clone(), &seat).await?;
    Ok(invited(&app, &seat, &house, &made, &headers, form.role))
}

fn owner(seat: &Seat) -> Result<(), ApiError> {
    seat.owns().then_some(()).ok_or_else(ApiError::role)
}

/// A role for a device.
#[derive(Deserialize, ToSchema)]
pub(super) struct RoleForm {
    key: String,
    #[schema(value_type = String)]
    device: Id,
    role: Role,
}

/// Gives a device of the farm a role.
#[utoipa::path(
    post, path = "/kitchen/role", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = RoleForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "The page follows and says what came of it."),
        (status = 400, description = "The form cannot be read.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page, or not an owner's screen.", body = Refused),
    )
)]
pub(super) async fn role(
    State(app): State<Arc<App>>,
    Own { seat, form, .. }: Own<RoleForm>,
) -> Result<Response, ApiError> {
    owner(&seat)?;
    let (farm, by, now) = (seat.device.farm, Some(seat.device.id), app.now());
    let inside = app.clone();
    let done = blocking(move || {
        Ok(inside
            .store
            .change_role(farm, form.device, form.role, by, now)?)
    })
    .await?;
    app.wake.wake(farm);
    Ok(to(
        Tab::People,
        match done {
            Changed::Done => "role",
            Changed::LastOwner => "last_owner",
            Changed::NoDevice => "failed",
        },
    ))
}

/// A device to be shut out.
#[derive(Deserialize, ToSchema)]
pub(super) struct OutForm {
    key: String,
    #[schema(value_type = String)]
    device: Id,
}

/// Shuts a device of the farm out, at once.
#[utoipa::path(
    post, path = "/kitchen/out", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = OutForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "The page follows and says what came of it."),
        (status = 400, description = "The form cannot be read.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page, or not an owner's screen.", body = Refused),
    )
)]
pub(super) async fn out(
    State(app): State<Arc<App>>,
    Own { seat, form, .. }: Own<OutForm>,
) -> Result<Response, ApiError> {
    owner(&seat)?;
    Ok(match shut_out(&app, &seat.device, form.device).await {
        Ok(()) => to(Tab::People, "out"),
        Err(e) if e.word() == "last_owner" => to(Tab::People, "last_owner"),
        Err(e) if e.word() == "no_device" => to(Tab::People, "failed"),
        Err(e) => return Err(e),
    })
}
