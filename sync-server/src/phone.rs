//! The phone app, carried inside the program and served under `/phone/`.
//!
//! Only the entry page, the manifest and the service worker are asked for under one name for ever;
//! everything else stands under its version and never changes.

use std::io::Read;
use std::sync::Arc;

use axum::Router;
use axum::extract::Path;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use flate2::read::GzDecoder;

use crate::app::App;
use crate::error::ApiError;

/// One file, in two packed forms.
struct Asset {
    name: &'static str,
    br: &'static [u8],
    gz: &'static [u8],
}

static ASSETS: &[Asset] = include!(concat!(env!("OUT_DIR"), "/phone.rs"));

/// The app asks nobody but its own server, runs no script but its own, and may compile its core.
const POLICY: &str = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; \
     img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; \
     base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Said where the program was built without the app.
const NOT_BUILT: &str = "The phone app was not built into this server. Build it with \
     `cargo xtask web`, then build the server again; `cargo xtask demo` does both. Phones with the \
     terminal client can sync all the same.\n";

pub(crate) fn routes() -> Router<Arc<App>> {
    Router::new()
        // A page's scope is its folder; the part behind `#` stays through the redirect.
        .route("/phone", get(|| async { Redirect::permanent("/phone/") }))
        .route(
            "/phone/",
            get(|headers: HeaderMap| async move { page(&headers) }),
        )
        .route(
            "/phone/{*name}",
            get(|Path(name): Path<String>, headers: HeaderMap| async move {
                match find(&name) {
                    Some(asset) => serve(asset, &headers),
                    None => ApiError::not_found().into_response(),
                }
            }),
        )
}

/// Whether the app is in this program.
pub(crate) fn is_built() -> bool {
    !ASSETS.is_empty()
}

fn find(name: &str) -> Option<&'static Asset> {
    ASSETS.iter().find(|asset| asset.name == name)
}

fn page(headers: &HeaderMap) -> Response {
    match find("index.html") {
        Some(asset) => serve(asset, headers),
        None => (StatusCode::NOT_FOUND, NOT_BUILT).into_response(),
    }
}

fn serve(asset: &'static Asset, asked: &HeaderMap) -> Response {
    let accepts = |form: &str| {
        asked
            .get(header::ACCEPT_ENCODING)
            .and_then(|value| value.to_str().ok())
            .is_some_and(|all| {
                all.split(',').any(|one| {
                    let mut words = one.split(';').map(str::trim);
                    words.next() == Some(form) && words.next() != Some("q=0")
                })
            })
    };
    let (form, body) = if accepts("br") {
        (Some("br"), asset.br.into_response())
    } else if accepts("gzip") {
        (Some("gzip"), asset.gz.into_response())
    } else {
        let mut plain = Vec::new();
        if GzDecoder::new(asset.gz).read_to_end(&mut plain).is_err() {
            return ApiError::internal().into_response();
        }
        (None, plain.into_response())
    };
    let mut response = body;
    let headers = response.headers_mut();
    let cache = if asset.name.starts_with("v/") {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    for (name, value) in [
        (header::CONTENT_TYPE, kind(asset.name)),
        (header::CACHE_CONTROL, cache),
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::VARY, "accept-encoding"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if let Some(form) = form {
        headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static(form));
    }
    response
}

fn kind(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, end)| end) {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("wasm") => "application/wasm",
        Some("webmanifest") => "application/manifest+json",
        _ => "application/octet-stream",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_file_of_the_app_has_a_type_that_browsers_take() {
        for asset in ASSETS {
            assert_ne!(
                kind(asset.name),
                "application/octet-stream",
                "{}",
                asset.name
            );
        }
        assert_eq!(kind("v/1/core/x_bg.wasm"), "application/wasm");
    }

    #[test]
    fn a_browser_that_takes_no_packed_form_gets_the_plain_one() {
        let Some(asset) = find("index.html") else {
            return;
        };
        let mut asked = HeaderMap::new();
        assert!(
            !serve(asset, &asked)
                .headers()
                .contains_key(header::CONTENT_ENCODING)
        );
        asked.insert(
            header::ACCEPT_ENCODING,
            HeaderValue::from_static("gzip, br;q=0"),
        );
        let form = serve(asset, &asked)
            .headers()
            .get(header::CONTENT_ENCODING)
            .cloned();
        assert_eq!(form, Some(HeaderValue::from_static("gzip")));
    }
}
