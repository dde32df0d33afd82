//! A form that the screen's own page made: it carries the screen's key, which nobody else knows.

use std::sync::Arc;

use axum::Form;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::HeaderMap;
use serde::de::DeserializeOwned;

use super::seat::Seat;
use crate::app::App;
use crate::error::ApiError;

/// A form with the screen's key in it.
pub(super) trait Keyed: DeserializeOwned {
    fn key(&self) -> &str;
}

/// A form, and the screen that sent it. Whoever takes this has had the key checked.
pub(super) struct Own<F> {
    pub(super) seat: Seat,
    pub(super) headers: HeaderMap,
    pub(super) form: F,
}

impl<F: Keyed> FromRequest<Arc<App>> for Own<F> {
    type Rejection = ApiError;

    async fn from_request(request: Request, app: &Arc<App>) -> Result<Own<F>, ApiError> {
        let (mut parts, body) = request.into_parts();
        let seat = Seat::from_request_parts(&mut parts, app).await?;
        let headers = parts.headers.clone();
        let Form(form) = Form::<F>::from_request(Request::from_parts(parts, body), app).await?;
        seat.check(&headers, form.key())?;
        Ok(Own {
            seat,
            headers,
            form,
        })
    }
}
