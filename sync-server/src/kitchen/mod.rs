//! The kitchen screen: one page that shows the farm's combined totals of a day, live.
//!
//! A screen is a device like any other: it joins by an invite and can be shut out. It keeps its
//! token in a cookie that scripts cannot read.

mod sheet;

use std::sync::Arc;

use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Extension, Json, response::AppendHeaders};
use pointdown_core::sync::JoinAsk;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::app::App;
use crate::around::Whence;
use crate::auth::{COOKIE, Screen};
use crate::error::ApiError;
use crate::events;
use crate::members::try_in;
use crate::openapi::Refused;
use crate::roster::shut_out;
use crate::store::DeviceKind;

/// A header that no other site can make a browser send along: the guard against forged requests.
const GUARD: &str = "pointdown-screen";

/// How long a browser keeps the cookie, in seconds: browsers allow no more than 400 days.
const COOKIE_SECONDS: u32 = 400 * 24 * 60 * 60;

/// The files of the page: path, kind, text.
pub(crate) const PAGES: [(&str, &str, &str); 5] = [
    (
        "/",
        "text/html; charset=utf-8",
        include_str!("page/index.html"),
    ),
    (
        "/kitchen/screen.css",
        "text/css; charset=utf-8",
        include_str!("page/screen.css"),
    ),
    (
        "/kitchen/screen.js",
        "text/javascript; charset=utf-8",
        include_str!("page/screen.js"),
    ),
    (
        "/kitchen/words.js",
        "text/javascript; charset=utf-8",
        include_str!("page/words.js"),
    ),
    (
        "/kitchen/mark.svg",
        "image/svg+xml",
        include_str!("page/mark.svg"),
    ),
];

pub(crate) fn routes() -> OpenApiRouter<Arc<App>> {
    let mut all = OpenApiRouter::new()
        .routes(routes!(join))
        .routes(routes!(leave))
        .routes(routes!(sheet::sheet))
        .routes(routes!(listen));
    for (path, kind, text) in PAGES {
        let page = get(move || async move {
            let headers = [
                (header::CONTENT_TYPE, kind),
                (header::CACHE_CONTROL, "no-cache"),
            ];
            (headers, text)
        });
        all = all.route(path, page);
    }
    all
}

/// What the page sends to join.
#[derive(Deserialize, ToSchema)]
struct ScreenJoin {
    invite: String,
}

/// Lets a screen in with an invite and gives it its cookie.
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
async fn join(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    headers: HeaderMap,
    ask: Result<Json<ScreenJoin>, JsonRejection>,
) -> Result<Response, ApiError> {
    own_page(&headers)?;
    let Json(ScreenJoin { invite }) = ask?;
    let secure = secure(&app, whence, &headers);
    let ask = JoinAsk {
        invite,
        farm: None,
        name: "Kitchen screen".into(),
        actors: Vec::new(),
    };
    let answer = try_in(&app, whence, ask, DeviceKind::Screen).await?;
    with_cookie(&answer.token, COOKIE_SECONDS, secure)
}

/// The screen shuts itself out.
#[utoipa::path(
    post, path = "/kitchen/leave", tag = "kitchen screen", security(("screen" = [])),
    responses(
        (status = 204, description = "It is out."),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 403, description = "Not from the own page, or no such invite.", body = Refused),
    )
)]
async fn leave(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    headers: HeaderMap,
    Screen(device): Screen,
) -> Result<Response, ApiError> {
    own_page(&headers)?;
    shut_out(&app, &device, device.id).await?;
    with_cookie("", 0, secure(&app, whence, &headers))
}

/// Server-sent events: `newer` whenever there is something to show.
#[utoipa::path(
    get, path = "/kitchen/events", tag = "kitchen screen", security(("screen" = [])),
    responses(
        (status = 200, description = "The stream.", body = String, content_type = "text/event-stream"),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
        (status = 429, description = "Too many streams of this screen.", body = Refused),
    )
)]
async fn listen(State(app): State<Arc<App>>, Screen(device): Screen) -> Result<Response, ApiError> {
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
    // Browsers say it themselves (W3C, Fetch Metadata Request Headers); other clients need not.
    let same_site = headers
        .get("sec-fetch-site")
        .is_none_or(|site| site == "same-origin");
    if headers.contains_key(GUARD) && same_origin && same_site {
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
fn secure(app: &App, whence: Whence, headers: &HeaderMap) -> bool {
    if whence.secure {
        return true;
    }
    let host = headers
        .get(header::HOST)
        .and_then(|v| v.to_str().ok())
        .unwrap_or_default();
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    let here = matches!(name, "localhost" | "127.0.0.1" | "[::1]");
    !here && !app.beyond_loopback
}
