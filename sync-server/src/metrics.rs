//! Figures for Prometheus, in the OpenMetrics text form.

use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::registry::Registry;
use subtle::ConstantTimeEq as _;

use crate::app::App;
use crate::around::Whence;
use crate::auth::bearer_text;
use crate::error::ApiError;
use crate::openapi::Refused;
use crate::secret::text_hash;

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Asked {
    method: String,
    path: String,
    status: u32,
}

/// What is counted. No farm, device or person is named.
pub(crate) struct Metrics {
    registry: Registry,
    requests: Family<Asked, Counter>,
    seconds: Histogram,
    taken: Counter,
    refused: Counter,
    streams: Gauge<i64>,
    failed: Counter<u64, AtomicU64>,
}

impl Metrics {
    pub(crate) fn new() -> Metrics {
        let mut metrics = Metrics {
            registry: Registry::with_prefix("pointdown"),
            requests: Family::default(),
            // From a millisecond to half a minute.
            seconds: Histogram::new(exponential_buckets(0.001, 2.0, 16)),
            taken: Counter::default(),
            refused: Counter::default(),
            streams: Gauge::default(),
            failed: Counter::default(),
        };
        let registry = &mut metrics.registry;
        registry.register("requests", "Requests answered", metrics.requests.clone());
        let seconds = metrics.seconds.clone();
        registry.register("request_seconds", "Time from request to answer", seconds);
        registry.register("changes_taken", "Changes taken", metrics.taken.clone());
        registry.register(
            "changes_refused",
            "Changes refused",
            metrics.refused.clone(),
        );
        registry.register(
            "event_streams",
            "Event streams open",
            metrics.streams.clone(),
        );
        let failed = metrics.failed.clone();
        registry.register("failures", "Requests that the server failed", failed);
        metrics
    }

    pub(crate) fn requested(&self, method: &str, path: &str, status: u16, took: Duration) {
        // Methods come from outside; any other name would be a new line for ever.
        let method = match method {
            known @ ("GET" | "HEAD" | "POST" | "PUT" | "DELETE" | "OPTIONS") => known,
            _ => "other",
        };
        let asked = Asked {
            method: method.into(),
            path: path.into(),
            status: status.into(),
        };
        self.requests.get_or_create(&asked).inc();
        self.seconds.observe(took.as_secs_f64());
        if status >= 500 {
            self.failed.inc();
        }
    }

    pub(crate) fn exchanged(&self, taken: usize, refused: usize) {
        self.taken.inc_by(taken as u64);
        self.refused.inc_by(refused as u64);
    }
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
    app.metrics.streams.set(app.usage.streams() as i64);
    let mut text = String::new();
    prometheus_client::encoding::text::encode(&mut text, &app.metrics.registry)
        .map_err(|_| ApiError::internal())?;
    let kind = "application/openmetrics-text; version=1.0.0; charset=utf-8";
    Ok(([(header::CONTENT_TYPE, kind)], text).into_response())
}
