//! The kitchen screen: the farm's combined totals of a day, what is due, and the review list, live,
//! and without scripts too.
//!
//! A screen is a device like any other: it joins by an invite and can be shut out. It keeps its
//! token in a cookie that scripts cannot read. Its pages are made here, whole; the script only asks
//! for them anew when there is news.

mod author;
mod cookies;
mod dates;
mod deeds;
mod door;
mod due;
mod frame;
mod own;
mod people;
mod pictures;
mod review;
mod seat;
mod sentence;
mod sheet;
mod today;
mod trends;
mod words;

use std::sync::Arc;

use axum::extract::State;
use axum::http::header;
use axum::response::{Redirect, Response};
use axum::routing::get;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::app::App;
use crate::auth::Screen;
use crate::error::ApiError;
use crate::events;
use crate::openapi::Refused;

/// How every screen is called in lists and records.
const SCREEN: &str = "Kitchen screen";

/// The files of the pages: path, kind, text.
pub(crate) const PAGES: [(&str, &str, &str); 4] = [
    (
        "/kitchen/screen.css",
        "text/css; charset=utf-8",
        include_str!("page/screen.css"),
    ),
    (
        "/kitchen/pages.css",
        "text/css; charset=utf-8",
        include_str!("page/pages.css"),
    ),
    (
        "/kitchen/screen.js",
        "text/javascript; charset=utf-8",
        include_str!("page/screen.js"),
    ),
    (
        "/kitchen/mark.svg",
        "image/svg+xml",
        include_str!("page/mark.svg"),
    ),
];

pub(crate) fn routes() -> OpenApiRouter<Arc<App>> {
    let mut all = OpenApiRouter::new()
        .routes(routes!(today::today))
        .routes(routes!(review::review))
        .routes(routes!(trends::trends))
        .routes(routes!(trends::chart))
        .routes(routes!(people::people))
        .routes(routes!(deeds::choose))
        .routes(routes!(deeds::undo))
        .routes(routes!(deeds::person))
        .routes(routes!(deeds::invite))
        .routes(routes!(deeds::role))
        .routes(routes!(deeds::out))
        .routes(routes!(door::join))
        .routes(routes!(door::enter))
        .routes(routes!(door::leave))
        .routes(routes!(sheet::sheet))
        .routes(routes!(listen))
        .routes(routes!(home));
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

/// Leads to the kitchen screen; an invite behind `#` goes along.
#[utoipa::path(
    get, path = "/", tag = "kitchen screen",
    responses((status = 307, description = "The kitchen screen is at `/kitchen`."))
)]
async fn home() -> Redirect {
    Redirect::temporary("/kitchen")
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
