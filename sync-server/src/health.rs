//! Whether the server runs, and whether it can keep what it takes.

use std::sync::{Arc, PoisonError};
use std::time::{Duration, Instant};

use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use subtle::ConstantTimeEq as _;

use crate::app::{App, blocking};
use crate::around::Whence;
use crate::auth::bearer_text;
use crate::error::ApiError;
use crate::openapi::Refused;
use crate::secret::text_hash;
use crate::store::StoreError;

/// How long a look at the store counts: looking writes to the disk, and anyone may ask.
const FRESH: Duration = Duration::from_secs(1);

/// How long a request that failed because of the disk counts.
const REMEMBERED: Duration = Duration::from_secs(5);

/// The process runs and answers.
#[utoipa::path(
    get, path = "/health/live", tag = "upkeep",
    responses((status = 200, description = "It runs.", body = String))
)]
pub(crate) async fn live() -> &'static str {
    "running\n"
}

/// The store can be written, found out by writing, and the server is not about to stop.
#[utoipa::path(
    get, path = "/health/ready", tag = "upkeep",
    responses(
        (status = 200, description = "It takes changes and keeps them.", body = String),
        (status = 503, description = "It does not; the words say why.", body = Refused),
    )
)]
pub(crate) async fn ready(State(app): State<Arc<App>>) -> Result<&'static str, ApiError> {
    if app.wake.is_closing() {
        return Err(ApiError::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "stopping",
            "the server is about to stop",
        ));
    }
    // A few bytes may find room where a message did not; damage does not heal.
    let trouble = app
        .trouble
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .clone();
    if let Some((at, e)) = trouble
        && (matches!(e, StoreError::Damaged(_)) || at.elapsed() < REMEMBERED)
    {
        return Err(ApiError::from(e).unavailable());
    }
    blocking(move || {
        // Whoever comes while another one looks waits for what that one finds.
        let mut looked = app.looked.lock().unwrap_or_else(PoisonError::into_inner);
        let found = match &*looked {
            Some((at, found)) if at.elapsed() < FRESH => found.clone(),
            _ => {
                let found = app.store.ready();
                *looked = Some((Instant::now(), found.clone()));
                found
            }
        };
        found.map_err(|e| ApiError::from(e).unavailable())
    })
    .await?;
    Ok("ready\n")
}

/// Figures for Prometheus: to this machine itself, or to whoever has the token for it.
#[utoipa::path(
    get, path = "/metrics", tag = "upkeep", security(("metrics" = [])),
    responses(
        (status = 200, description = "The figures.", body = String,
         content_type = "application/openmetrics-text"),
        (status = 401, description = "Not from this machine, and no token.", body = Refused),
    )
)]
pub(crate) async fn metrics(
    State(app): State<Arc<App>>,
    Extension(whence): Extension<Whence>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    let brought = bearer_text(&headers).map(text_hash);
    let right = match (&app.metrics_token, &brought) {
        (Some(token), Some(brought)) => token.ct_eq(brought).into(),
        _ => false,
    };
    if !whence.this_machine && !right {
        return Err(ApiError::token());
    }
    let text = app.metrics.text(app.usage.streams());
    let text = text.map_err(|_| ApiError::internal())?;
    let kind = "application/openmetrics-text; version=1.0.0; charset=utf-8";
    Ok(([(header::CONTENT_TYPE, kind)], text).into_response())
}
