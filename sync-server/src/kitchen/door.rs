//! Letting a screen in with an invite, and letting it go.
//!
//! A screen that hangs where anyone can reach it only looks. One that may also decide comes in as a
//! device like a phone, under the role of its invite; whoever lets it in chooses.

use std::sync::Arc;

use axum::extract::State;
use axum::extract::rejection::{FormRejection, JsonRejection};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::{Extension, Form, Json};
use maud::{Markup, html};
use pointdown_core::sync::JoinAsk;
use serde::Deserialize;
use utoipa::ToSchema;

use super::SCREEN;
use super::cookies::{secure, set};
use super::frame::{Tab, document, languages, notice};
use super::seat::{Seat, own_page};
use super::words::{LANGUAGE, Language, Words};
use crate::app::App;
use crate::around::Whence;
use crate::auth::{COOKIE, Screen};
use crate::error::ApiError;
use crate::members::try_in;
use crate::openapi::Refused;
use crate::roster::shut_out;
use crate::store::DeviceKind;

/// How long a browser keeps the cookie, in seconds: browsers allow no more than 400 days.
pub(super) const COOKIE_SECONDS: u32 = 400 * 24 * 60 * 60;

/// What a program sends to join; such a screen only looks.
#[derive(Deserialize, ToSchema)]
pub(super) struct ScreenJoin {
    invite: String,
}

/// What the page's form sends.
#[derive(Deserialize, ToSchema)]
pub(super) struct JoinForm {
    invite: String,
    /// `look` or `decide`.
    may: String,
}

/// What a form that only carries its key sends.
#[derive(Deserialize, ToSchema)]
pub(super) struct KeyForm {
    key: String,
}

async fn let_in(
    app: &Arc<App>,
    whence: Whence,
    invite: String,
    decides: bool,
) -> Result<String, ApiError> {
    let ask = JoinAsk {
        // The whole link may have been pasted.
        invite: invite
            .rsplit_once("invite=")
            .map_or(invite.as_str(), |(_, code)| code)
            .trim()
            .to_owned(),
        farm: None,
        name: SCREEN.into(),
        actors: Vec::new(),
    };
    let kind = match decides {
        true => DeviceKind::Phone,
        false => DeviceKind::Screen,
    };
    // An open invite begins a farm on a phone, never here: nobody could name it.
    Ok(try_in(app, whence, ask, kind, false).await?.token)
}

/// Lets a screen in with an invite and gives it its cookie; for programs.
#[utoipa::path(
    post, path = "/kitchen/join", tag = "kitchen screen",
    request_body = ScreenJoin,
    responses(
        (status = 204, description = "It is in."),
        (status = 403, description = "Not from the own page, or no such invite.", body = Refused),
        (status = 410, description = "The invite was used or is too old.", body = Refused),
        (status = 429, description = "Too many invites were refused.", body = Refused),
    )
)]
pub(super) async fn join(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    headers: HeaderMap,
    ask: Result<Json<ScreenJoin>, JsonRejection>,
) -> Result<Response, ApiError> {
    own_page(&headers, true)?;
    let Json(ScreenJoin { invite }) = ask?;
    let secure = secure(&app, whence, &headers);
    let token = let_in(&app, whence, invite, false).await?;
    let cookie = set(COOKIE, &token, COOKIE_SECONDS, secure)?;
    Ok((StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response())
}

/// Lets a screen in with the page's own form.
#[utoipa::path(
    post, path = "/kitchen/in", tag = "kitchen screen",
    request_body(content = JoinForm, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 303, description = "It is in; the page follows."),
        (status = 403, description = "Not from the own page, or no such invite; the page says so.",
         body = String, content_type = "text/html"),
    )
)]
pub(super) async fn enter(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    headers: HeaderMap,
    form: Result<Form<JoinForm>, FormRejection>,
) -> Result<Response, ApiError> {
    own_page(&headers, false)?;
    let Form(JoinForm { invite, may }) = form?;
    let words = Words::of(&headers);
    let secure = secure(&app, whence, &headers);
    match let_in(&app, whence, invite, may == "decide").await {
        Ok(token) => {
            let cookie = set(COOKIE, &token, COOKIE_SECONDS, secure)?;
            let to = Redirect::to(Tab::Today.path());
            Ok(([(header::SET_COOKIE, cookie)], to).into_response())
        }
        Err(e) => {
            let page = door(words, Some(e.word()));
            Ok((e.status(), page).into_response())
        }
    }
}

/// The screen shuts itself out: by script with the guard, or by the page's own form.
#[utoipa::path(
    post, path = "/kitchen/leave", tag = "kitchen screen", security(("screen" = [])),
    request_body(content = Option<KeyForm>, content_type = "application/x-www-form-urlencoded"),
    responses(
        (status = 204, description = "It is out."),
        (status = 303, description = "It is out; the page that asks for an invite follows."),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page.", body = Refused),
        (status = 409, description = "It is the farm's last owner.", body = Refused),
    )
)]
pub(super) async fn leave(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    headers: HeaderMap,
    Screen(device): Screen,
    form: Result<Form<KeyForm>, FormRejection>,
) -> Result<Response, ApiError> {
    let gone = set(COOKIE, "", 0, secure(&app, whence, &headers))?;
    let by_form = match form {
        Ok(Form(KeyForm { key })) => {
            let seat = Seat {
                device: device.clone(),
                words: Words::of(&headers),
                person: None,
            };
            seat.check(&headers, &key)?;
            true
        }
        Err(_) => {
            own_page(&headers, true)?;
            false
        }
    };
    shut_out(&app, &device, device.id).await?;
    let cookie = [(header::SET_COOKIE, gone)];
    Ok(match by_form {
        true => (cookie, Redirect::to(Tab::Today.path())).into_response(),
        false => (StatusCode::NO_CONTENT, cookie).into_response(),
    })
}

/// Remembers a language and shows the page again.
pub(super) fn speak(tag: &str, path: &str) -> Result<Response, ApiError> {
    let known = Language::ALL.into_iter().find(|l| l.tag() == tag);
    let language = known.ok_or_else(|| {
        ApiError::invalid(format!(
            "language: {tag:?} is not allowed; allowed are en, es"
        ))
    })?;
    // No secret: it may travel as it likes.
    let cookie: HeaderValue = set(LANGUAGE, language.tag(), COOKIE_SECONDS, false)?;
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to(path)).into_response())
}

/// The page that asks for an invite; with what was wrong with the last one.
pub(super) fn door(words: Words, wrong: Option<&str>) -> Response {
    let wrong = wrong.map(|word| match word {
        "invite_used" => words.t("kitchen.door.used"),
        "invite_expired" => words.t("kitchen.door.expired"),
        "invite" => words.t("kitchen.door.unknown"),
        _ => words.t("kitchen.door.later"),
    });
    let body = html! {
        main id="main" class="page-door" tabindex="-1" {
            h1 { (words.t("kitchen.door")) }
            p class="about" { (words.t("kitchen.door.about")) }
            @if let Some(wrong) = &wrong { (notice(wrong, true, html! {})) }
            form class="card" method="post" action="/kitchen/in" {
                p {
                    label for="invite" { (words.t("start.code")) }
                    input id="invite" name="invite" autocomplete="off" autocapitalize="none"
                        spellcheck="false" required maxlength="300"
                        aria-invalid=[wrong.is_some().then_some("true")]
                        aria-describedby=[wrong.is_some().then_some("notice")];
                }
                fieldset {
                    legend { (words.t("kitchen.door.may")) }
                    (may(words, "look", true))
                    (may(words, "decide", false))
                }
                button type="submit" class="main" { (words.t("kitchen.door.go")) }
            }
            (languages(words, "/kitchen"))
        }
    };
    document(words, &words.t("kitchen.door"), false, body)
}

fn may(words: Words, value: &str, checked: bool) -> Markup {
    html! {
        label class="tick" {
            input type="radio" name="may" value=(value) checked[checked];
            span { (words.t(&format!("kitchen.door.{value}")))
                small { (words.t(&format!("kitchen.door.{value}.about"))) } }
        }
    }
}
