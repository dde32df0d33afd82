use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{delete, get, post};
use pointdown_core::farm::Env;
use pointdown_core::sync::MAX_BODY;

use crate::auth::Device;
use crate::error::ApiError;
use crate::events::{self, Wake};
use crate::exchange::exchange;
use crate::replica::Replicas;
use crate::store::Store;
use crate::{kitchen, members, repo};

/// The largest body where no changes travel, in bytes.
const SMALL_BODY: usize = 64 * 1024;

/// What every request can reach.
pub(crate) struct App {
    pub(crate) store: Arc<dyn Store>,
    pub(crate) env: Arc<dyn Env>,
    pub(crate) wake: Wake,
    pub(crate) replicas: Replicas,
    /// How long a request may take.
    pub(crate) patience: Duration,
    /// How often an event stream speaks at least.
    pub(crate) heartbeat: Duration,
    /// Whether plain HTTP beyond this machine was asked for.
    pub(crate) beyond_loopback: bool,
    /// Whether what programs write at `/v1/automerge` is taken.
    pub(crate) automerge_writes: bool,
}

impl App {
    /// Now, milliseconds since 1970 UTC.
    pub(crate) fn now(&self) -> i64 {
        self.env.now().ms()
    }
}

/// Runs what may block on a thread of its own. A panic there is this request's alone.
pub(crate) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, ApiError> + Send + 'static,
) -> Result<T, ApiError> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(e) => {
            tracing::error!(error = %e, "a request panicked");
            Err(ApiError::internal())
        }
    }
}

pub(crate) fn router(app: Arc<App>) -> Router {
    Router::new()
        .route(
            "/v1/sync",
            post(sync).layer(DefaultBodyLimit::max(MAX_BODY)),
        )
        .route("/v1/events", get(events::for_phone))
        .route("/v1/automerge", get(repo::connect))
        .route("/v1/join", post(members::join))
        .route("/v1/invites", post(members::invite))
        .route("/v1/devices", get(members::devices))
        .route("/v1/devices/{id}", delete(members::revoke))
        .merge(kitchen::routes())
        .fallback(|| async { ApiError::not_found() })
        .method_not_allowed_fallback(|| async { ApiError::method() })
        .layer(DefaultBodyLimit::max(SMALL_BODY))
        .layer(middleware::from_fn(refuse_large))
        .layer(middleware::from_fn_with_state(app.clone(), in_time))
        .layer(middleware::map_response(secure))
        .layer(middleware::from_fn(trace))
        .with_state(app)
}

/// `POST /v1/sync`
async fn sync(
    State(app): State<Arc<App>>,
    Device(device): Device,
    body: Result<axum::body::Bytes, BytesRejection>,
) -> Result<Response, ApiError> {
    let body = body?;
    let now = app.now();
    let (store, id) = (app.store.clone(), device.id);
    let done = blocking(move || Ok(exchange(&*store, device.farm, id, &body, now)?)).await?;
    if done.store_was_older {
        tracing::error!(
            farm = %device.farm,
            device = %id,
            "this store is an older copy: a phone knows changes that it never had. It has a new \
             epoch now; every phone will send what is missing"
        );
    }
    if done.refused > 0 {
        tracing::warn!(farm = %device.farm, device = %id, refused = done.refused, "changes refused");
    }
    if done.taken > 0 {
        tracing::info!(
            farm = %device.farm,
            device = %id,
            taken = done.taken,
            head = done.head,
            "changes taken"
        );
        app.wake.wake(device.farm);
        app.replicas.follow(&app, device.farm);
    }
    Ok(([(header::CONTENT_TYPE, "application/cbor")], done.answer).into_response())
}

/// A body that says it is too large is refused before it is read.
async fn refuse_large(headers: HeaderMap, request: Request, next: Next) -> Response {
    let length = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse::<u64>().ok());
    if length.is_some_and(|n| n > MAX_BODY as u64) {
        return ApiError::too_large(MAX_BODY).into_response();
    }
    next.run(request).await
}

async fn in_time(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    // An event stream answers at once; only its body goes on.
    tokio::time::timeout(app.patience, next.run(request))
        .await
        .unwrap_or_else(|_| ApiError::timeout().into_response())
}

/// Headers that keep browsers from doing what nobody asked for.
async fn secure(mut response: Response) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
        ),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

/// One line a request: what, how it ended, how long it took. No header, no body, no secret.
async fn trace(path: Option<MatchedPath>, request: Request, next: Next) -> Response {
    let method = request.method().clone();
    let began = std::time::Instant::now();
    let response = next.run(request).await;
    tracing::info!(
        %method,
        path = path.as_ref().map_or("-", MatchedPath::as_str),
        status = response.status().as_u16(),
        ms = began.elapsed().as_millis() as u64,
        "request"
    );
    response
}
