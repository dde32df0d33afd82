//! What is done around every request: whence it came, limits, headers, one line in the log.

use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, PoisonError};

use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use data_encoding::HEXLOWER;
use pointdown_core::sync::MAX_BODY;
use tracing::Instrument as _;

use crate::app::App;
use crate::error::{ApiError, Trouble};
use crate::listen::Peer;

/// Where a request comes from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Whence {
    /// The address of the client, not of a proxy that is known to be there.
    pub(crate) address: IpAddr,
    /// Whether it came over HTTPS, here or to the proxy.
    pub(crate) secure: bool,
    /// Whether it was made on this very machine and no proxy passed it on.
    pub(crate) this_machine: bool,
}

const FORWARDED: [&str; 4] = [
    "forwarded",
    "x-forwarded-for",
    "x-forwarded-proto",
    "x-forwarded-host",
];

fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name)?.to_str().ok()
}

/// Finds out where the request comes from. What a proxy says of its client is believed only where
/// the server was told that one is there: anyone can send such headers.
pub(crate) async fn whence(
    State(app): State<Arc<App>>,
    mut request: Request,
    next: Next,
) -> Response {
    let unknown = IpAddr::V6(Ipv6Addr::UNSPECIFIED);
    let peer = request.extensions().get::<Peer>().copied().unwrap_or(Peer {
        address: unknown,
        tls: false,
    });
    let headers = request.headers();
    let passed_on = FORWARDED.iter().any(|name| headers.contains_key(*name));
    let mut whence = Whence {
        address: peer.address,
        secure: peer.tls,
        this_machine: peer.address.is_loopback() && !passed_on && !app.behind_proxy,
    };
    if app.behind_proxy {
        // The last one is what the proxy itself added; those before it may be anyone's words.
        let named = headers
            .get_all("x-forwarded-for")
            .iter()
            .next_back()
            .and_then(|v| v.to_str().ok()?.rsplit(',').next()?.trim().parse().ok());
        whence.address = named.unwrap_or(peer.address);
        whence.secure |= text(headers, "x-forwarded-proto") == Some("https");
    }
    if let Err(e) = app.usage.address(whence.address) {
        return e.into_response();
    }
    request.extensions_mut().insert(whence);
    next.run(request).await
}

/// A body that says it is too large is refused before it is read.
pub(crate) async fn refuse_large(headers: HeaderMap, request: Request, next: Next) -> Response {
    let length = text(&headers, "content-length").and_then(|v| v.parse::<u64>().ok());
    if length.is_some_and(|n| n > MAX_BODY as u64) {
        return ApiError::too_large(MAX_BODY).into_response();
    }
    next.run(request).await
}

pub(crate) async fn in_time(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    // An event stream answers at once; only its body goes on.
    tokio::time::timeout(app.patience, next.run(request))
        .await
        .unwrap_or_else(|_| ApiError::timeout().into_response())
}

/// Headers that keep browsers from doing what nobody asked for.
pub(crate) async fn secure(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    // The phone app has a stricter one of its own.
    headers
        .entry(header::CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(
            "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; \
             object-src 'none'",
        ));
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            HeaderName::from_static("permissions-policy"),
            "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
        ),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // Without one, a form's own origin would be hidden from the server that it came from.
    headers
        .entry(header::REFERRER_POLICY)
        .or_insert(HeaderValue::from_static("no-referrer"));
    if app.https_only {
        let year = HeaderValue::from_static("max-age=31536000");
        headers.insert(header::STRICT_TRANSPORT_SECURITY, year);
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

/// One line a request: what, how it ended, how long it took, under an id that the answer carries
/// too. No header, no body, no secret.
pub(crate) async fn trace(
    State(app): State<Arc<App>>,
    path: Option<MatchedPath>,
    request: Request,
    next: Next,
) -> Response {
    let mut id = [0u8; 8];
    app.env.fill(&mut id);
    let id = HEXLOWER.encode(&id);
    let span = tracing::info_span!("request", %id);
    let method = request.method().clone();
    let path = path.as_ref().map_or("-", MatchedPath::as_str).to_string();
    async move {
        let began = std::time::Instant::now();
        let mut response = next.run(request).await;
        let (status, took) = (response.status().as_u16(), began.elapsed());
        tracing::info!(%method, path, status, ms = took.as_millis() as u64, "request");
        app.metrics.requested(method.as_str(), &path, status, took);
        if let Some(Trouble(e)) = response.extensions_mut().remove() {
            *app.trouble.lock().unwrap_or_else(PoisonError::into_inner) = Some((began, e));
        }
        if let Ok(id) = HeaderValue::from_str(&id) {
            response.headers_mut().insert("x-request-id", id);
        }
        response
    }
    .instrument(span)
    .await
}
