//! Figures for Prometheus, in the OpenMetrics text form.

use std::sync::atomic::AtomicU64;
use std::time::Duration;

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::registry::Registry;

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

    /// The figures as text.
    pub(crate) fn text(&self, streams: usize) -> Result<String, std::fmt::Error> {
        self.streams.set(streams as i64);
        let mut text = String::new();
        prometheus_client::encoding::text::encode(&mut text, &self.registry)?;
        Ok(text)
    }
}
