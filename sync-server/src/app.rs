//! What every request can reach, and where it may block.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use pointdown_core::farm::Env;
use pointdown_core::record::Id;
use pointdown_core::sync::Pin;

use crate::error::ApiError;
use crate::limits::Usage;
use crate::metrics::Metrics;
use crate::replica::Replicas;
use crate::store::{SecretHash, Store, StoreError};
use crate::wake::Wake;

/// What was found when the store was last looked at.
pub(crate) type Looked = Option<(Instant, Result<(), StoreError>)>;

/// What every request can reach.
pub(crate) struct App {
    pub(crate) store: Arc<dyn Store>,
    pub(crate) env: Arc<dyn Env>,
    pub(crate) wake: Wake,
    pub(crate) replicas: Arc<Replicas>,
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
    /// Something about the farm changed: wakes its streams, and lets the server's replica follow.
    pub(crate) fn changed(&self, farm: Id) {
        self.wake.wake(farm);
        self.follow(farm);
    }

    /// Lets the server's replica of a farm follow the log in the background.
    pub(crate) fn follow(&self, farm: Id) {
        self.replicas
            .follow(self.store.clone(), self.env.clone(), farm);
    }

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
