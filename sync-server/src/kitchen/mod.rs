//! The kitchen screen: one page that shows the farm's combined totals of a day, live.
//!
//! A screen is a device like any other: it joins by an invite and can be shut out. It keeps its
//! token in a cookie that scripts cannot read.

mod sheet;

use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, response::AppendHeaders};
use pointdown_core::sync::JoinAsk;
use serde::Deserialize;

use crate::app::{App, blocking};
use crate::auth::{COOKIE, Screen};
use crate::error::ApiError;
use crate::events;
use crate::members::{let_in, shut_out};
use crate::store::DeviceKind;

/// A header that no other site can make a browser send along: the guard against forged requests.
const GUARD: &str = "pointdown-screen";

/// How long a browser keeps the cookie, in seconds: browsers allow no more than 400 days.
const COOKIE_SECONDS: u32 = 400 * 24 * 60 * 60;

pub(crate) fn routes() -> Router<Arc<App>> {
    let page = |kind: &'static str, text: &'static str| {
        get(move || async move {
            let headers = [
                (header::CONTENT_TYPE, kind),
                (header::CACHE_CONTROL, "no-cache"),
            ];
            (headers, text)
        })
    };
    Router::new()
        .route(
            "/",
            page("text/html; charset=utf-8", include_str!("page/index.html")),
        )
        .route(
            "/kitchen/screen.css",
            page("text/css; charset=utf-8", include_str!("page/screen.css")),
        )
        .route(
            "/kitchen/screen.js",
            page(
                "text/javascript; charset=utf-8",
                include_str!("page/screen.js"),
            ),
        )
        .route(
            "/kitchen/words.js",
            page(
                "text/javascript; charset=utf-8",
                include_str!("page/words.js"),
            ),
        )
        .route(
            "/kitchen/mark.svg",
            page("image/svg+xml", include_str!("page/mark.svg")),
        )
        .route("/kitchen/join", post(join))
        .route("/kitchen/leave", post(leave))
        .route("/kitchen/sheet", get(sheet::sheet))
        .route("/kitchen/events", get(listen))
}

/// What the page sends to join.
#[derive(Deserialize)]
struct ScreenJoin {
    invite: String,
}

/// `POST /kitchen/join`
async fn join(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    ask: Result<Json<ScreenJoin>, JsonRejection>,
) -> Result<Response, ApiError> {
    own_page(&headers)?;
    let Json(ScreenJoin { invite }) = ask?;
    let secure = secure(&app, &headers);
    let answer = blocking(move || {
        let ask = JoinAsk {
            invite,
            farm: None,
            name: "Kitchen screen".into(),
            actors: Vec::new(),
        };
        let_in(&*app.store, &*app.env, &ask, DeviceKind::Screen)
    })
    .await?;
    with_cookie(&answer.token, COOKIE_SECONDS, secure)
}

/// `POST /kitchen/leave`: the screen shuts itself out.
async fn leave(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Screen(device): Screen,
) -> Result<Response, ApiError> {
    own_page(&headers)?;
    shut_out(&app, device.farm, device.id).await?;
    with_cookie("", 0, secure(&app, &headers))
}

/// `GET /kitchen/events`
async fn listen(State(app): State<Arc<App>>, Screen(device): Screen) -> impl IntoResponse {
    events::listen(app, device)
}

fn with_cookie(token: &str, seconds: u32, secure: bool) -> Result<Response, ApiError> {
    let secure = if secure { "; Secure" } else { "" };
    let cookie = format!(
        "{COOKIE}={token}; Path=/kitchen; Max-Age={seconds}; HttpOnly; SameSite=Strict{secure}"
    );
    let mut cookie = HeaderValue::from_str(&cookie).map_err(|_| ApiError::internal())?;
    cookie.set_sensitive(true);
    let headers = AppendHeaders([(header::SET_COOKIE, cookie)]);
    Ok((StatusCode::NO_CONTENT, headers).into_response())
}

/// Refuses what does not come from the screen's own page.
fn own_page(headers: &HeaderMap) -> Result<(), ApiError> {
    let text = |name: header::HeaderName| headers.get(name).and_then(|v| v.to_str().ok());
    let host = text(header::HOST);
    let same_origin = text(header::ORIGIN).is_none_or(|origin| {
        let site = origin.split_once("://").map(|(_, site)| site);
        site.is_some() && site == host
    });
    if headers.contains_key(GUARD) && same_origin {
        return Ok(());
    }
    Err(ApiError::new(
        StatusCode::FORBIDDEN,
        "forged",
        "this request did not come from the kitchen screen's own page",
    ))
}

/// Whether the browser should send the cookie over HTTPS only: wherever it came over HTTPS, and
/// wherever the name in the address is not this machine's, unless plain HTTP was asked for.
fn secure(app: &App, headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).and_then(|v| v.to_str().ok());
    if text("x-forwarded-proto") == Some("https") {
        return true;
    }
    let host = text("host").unwrap_or_default();
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    let here = matches!(name, "localhost" | "127.0.0.1" | "[::1]");
    !here && !app.beyond_loopback
}
