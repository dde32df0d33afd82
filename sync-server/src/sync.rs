//! The exchange of changes, as phones ask for it.

use std::sync::Arc;

use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::app::{App, blocking};
use crate::auth::Device;
use crate::error::ApiError;
use crate::exchange::exchange;
use crate::openapi::Refused;

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
pub(crate) async fn sync(
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
        app.changed(device.farm);
    }
    Ok(([(header::CONTENT_TYPE, "application/cbor")], done.answer).into_response())
}
