use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::header;
use axum::middleware;
use axum::response::{IntoResponse, Response};
use pointdown_core::farm::Env;
use pointdown_core::sync::{MAX_BODY, Pin};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::auth::Device;
use crate::error::ApiError;
use crate::events::Wake;
use crate::exchange::exchange;
use crate::health::Looked;
use crate::limits::Usage;
use crate::metrics::Metrics;
use crate::openapi::{Refused, description};
use crate::replica::Replicas;
use crate::store::{SecretHash, Store, StoreError};
use crate::{around, events, health, kitchen, members, metrics, openapi, phone, repo, roster};

/// The largest body where no changes travel, in bytes.
const SMALL_BODY: usize = 64 * 1024;

/// What every request can reach.
pub(crate) struct App {
    pub(crate) store: Arc<dyn Store>,
    pub(crate) env: Arc<dyn Env>,
    pub(crate) wake: Wake,
    pub(crate) replicas: Replicas,
    pub(crate) usage: Usage,
    pub(crate) metrics: Metrics,
    /// Whoever brings it may read the metrics.
    pub(crate) metrics_token: Option<SecretHash>,
    /// What was found when the store was last looked at.
    pub(crate) looked: Mutex<Looked>,
    /// When a request last failed because of the disk, and how.
    pub(crate) trouble: Mutex<Option<(Instant, StoreError)>>,
    /// How long a request may take.
    pub(crate) patience: Duration,
    /// How often an event stream speaks at least.
    pub(crate) heartbeat: Duration,
    /// Whether plain HTTP beyond this machine was asked for.
    pub(crate) beyond_loopback: bool,
    /// Whether what programs write at `/v1/automerge` is taken.
    pub(crate) automerge_writes: bool,
    /// Whether a proxy stands before the server whose headers are to be believed.
    pub(crate) behind_proxy: bool,
    /// Whether browsers may be told to use nothing but HTTPS here from now on.
    pub(crate) https_only: bool,
    /// The key of the server's own certificate.
    pub(crate) pin: Option<Pin>,
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
    // What is logged there belongs to this request too.
    let span = tracing::Span::current();
    match tokio::task::spawn_blocking(move || span.in_scope(work)).await {
        Ok(done) => done,
        Err(e) => {
            tracing::error!(error = %e, "a request panicked");
            Err(ApiError::internal())
        }
    }
}

/// Every address of the server with its description. Only what is named here is served.
pub(crate) fn addresses() -> OpenApiRouter<Arc<App>> {
    let sync = OpenApiRouter::new()
        .routes(routes!(sync))
        .layer(DefaultBodyLimit::max(MAX_BODY));
    OpenApiRouter::with_openapi(description())
        .merge(sync)
        .routes(routes!(events::for_phone))
        .routes(routes!(repo::connect))
        .routes(routes!(members::join))
        .routes(routes!(roster::token))
        .routes(routes!(roster::invite))
        .routes(routes!(roster::devices))
        .routes(routes!(roster::revoke))
        .routes(routes!(roster::role))
        .routes(routes!(roster::audit))
        .routes(routes!(health::live))
        .routes(routes!(health::ready))
        .routes(routes!(metrics::metrics))
        .routes(routes!(openapi::openapi_json))
        .merge(kitchen::routes())
}

pub(crate) fn router(app: Arc<App>) -> Router {
    let (router, _) = addresses().split_for_parts();
    router
        .merge(phone::routes())
        .fallback(|| async { ApiError::not_found() })
        .method_not_allowed_fallback(|| async { ApiError::method() })
        .layer(DefaultBodyLimit::max(SMALL_BODY))
        .layer(middleware::from_fn(around::refuse_large))
        .layer(middleware::from_fn_with_state(app.clone(), around::in_time))
        .layer(middleware::from_fn_with_state(app.clone(), around::whence))
        .layer(middleware::from_fn_with_state(app.clone(), around::secure))
        .layer(middleware::from_fn_with_state(app.clone(), around::trace))
        .with_state(app)
}

/// Exchanges changes: takes what the phone brought, answers with what it lacks.
///
/// Both bodies are CBOR (RFC 8949); the exchange is safe to repeat at any point. A change that
/// cannot be taken is named in the answer, the others are taken.
#[utoipa::path(
    post, path = "/v1/sync", tag = "phones", security(("token" = [])),
    request_body(content = Vec<u8>, content_type = "application/cbor"),
    responses(
        (status = 200, description = "Taken, and what the phone lacks.", body = Vec<u8>,
         content_type = "application/cbor"),
        (status = 400, description = "The message cannot be read.", body = Refused),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
        (status = 413, description = "The message is too large.", body = Refused),
        (status = 429, description = "Too many requests.", body = Refused),
        (status = 503, description = "The store cannot be written; nothing was taken.",
         body = Refused),
    )
)]
async fn sync(
    State(app): State<Arc<App>>,
    Device(device): Device,
    body: Result<axum::body::Bytes, BytesRejection>,
) -> Result<Response, ApiError> {
    let body = body?;
    let now = app.now();
    let (store, id) = (app.store.clone(), device.id);
    let done = blocking(move || Ok(exchange(&*store, device.farm, id, &body, now)?)).await?;
    app.metrics.exchanged(done.taken, done.refused);
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
