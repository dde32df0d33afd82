//! The server that the phones of a farm sync with.
//!
//! It keeps each farm's changes in one ordered log and hands every phone what it lacks; a farm
//! works without it, and it holds nothing that a phone could not bring again. For the kitchen
//! screen it has a replica of its own, made by the same facade as on any phone.
//!
//! ```text
//! POST   /v1/join          JSON   an invite for a token
//! POST   /v1/sync          CBOR   see pointdown_core::sync
//! GET    /v1/automerge     WebSocket of the automerge-repo protocol
//! GET    /v1/events        server-sent events: there is something newer
//! POST   /v1/token         JSON   a fresh token
//! POST   /v1/invites       JSON   an invite to the own farm
//! GET    /v1/devices       JSON   who belongs to the own farm
//! DELETE /v1/devices/{id}         shuts a device out
//! PUT    /v1/devices/{id}/role    what a device may do
//! GET    /v1/audit         JSON   who was invited, joined, was shut out, got a role
//! GET    /v1/openapi.json         all of this, for programs
//! GET    /health/live, /health/ready, /metrics
//! GET    /kitchen                 the kitchen screen; its forms are below it
//! ```
//!
//! It listens on this machine only unless told otherwise. To other machines it speaks TLS, with a
//! given certificate or one of its own making; plain HTTP only where that was asked for in so many
//! words, for a reverse proxy on another machine of a network that is trusted.

mod announce;
mod app;
mod around;
mod auth;
mod error;
mod events;
pub mod exchange;
mod health;
mod kitchen;
mod limits;
mod listen;
mod members;
mod metrics;
mod openapi;
mod phone;
mod replica;
mod repo;
mod roster;
mod router;
mod secret;
pub mod store;
mod sync;
mod tls;
pub mod upkeep;
mod wake;

use std::future::Future;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use pointdown_core::farm::{Env, Interfaces, System};
use tokio::net::TcpListener;
use tokio_rustls::TlsAcceptor;

use announce::Announced;
use app::App;
use listen::Hall;
use store::Store;
use tls::{Certificates, Hangup};

pub use limits::Limits;
pub use router::{Endpoint, endpoints};
pub use tls::{Tls, TlsError, own_pin};

pub use members::{INVITE_HOURS, Invitation, Invite, MOST_INVITE_HOURS, make_invite};

/// How the server runs.
#[derive(Clone)]
pub struct Config {
    /// The data folder, for the replicas of the kitchen screen; without one they are in memory.
    pub data: Option<PathBuf>,
    /// Whether plain HTTP may be served to other machines.
    pub beyond_loopback: bool,
    /// Whether what programs write at `/v1/automerge` is taken; otherwise they only read.
    pub automerge_writes: bool,
    /// The certificate; plain HTTP without one.
    pub tls: Option<Tls>,
    /// Whether the server announces itself, and where.
    pub announce: Option<Interfaces>,
    /// How often to look whether there is a newer certificate.
    pub renewal: Duration,
    /// Whether a reverse proxy stands before the server, so that its `X-Forwarded-For` and
    /// `X-Forwarded-Proto` are to be believed.
    pub behind_proxy: bool,
    /// Who brings this as a bearer token may read the metrics from anywhere.
    pub metrics_token: Option<String>,
    /// How much anyone may ask for.
    pub limits: Limits,
    /// How long a request may take.
    pub patience: Duration,
    /// How often to fold old changes into their documents.
    pub folding: Duration,
    /// How often an event stream speaks at least, and looks whether it may go on.
    pub heartbeat: Duration,
    /// How long requests that are underway may go on once the server was told to stop.
    pub grace: Duration,
    /// The clock and randomness.
    pub env: Arc<dyn Env>,
}

impl Default for Config {
    fn default() -> Config {
        Config {
            data: None,
            beyond_loopback: false,
            automerge_writes: false,
            tls: None,
            announce: None,
            renewal: Duration::from_secs(60),
            behind_proxy: false,
            metrics_token: None,
            limits: Limits::default(),
            folding: Duration::from_secs(60 * 60),
            patience: Duration::from_secs(30),
            heartbeat: Duration::from_secs(15),
            grace: Duration::from_secs(10),
            env: Arc::new(System),
        }
    }
}

/// Why the server does not run.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The address can be reached from other machines, and that was not asked for.
    #[error(
        "{0} can be reached from other machines, and this server speaks plain HTTP: tokens and \
         records would travel in the clear. Give it a certificate or let it make its own, or listen \
         on 127.0.0.1 behind a proxy with one, or allow it in so many words"
    )]
    BeyondLoopback(SocketAddr),
    /// There is no certificate to serve with.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// The system reports a failure.
    #[error("the server cannot listen: {0}")]
    Io(#[from] std::io::Error),
    /// The store cannot tell of what other servers do.
    #[error(transparent)]
    Store(#[from] store::StoreError),
}

/// Serves until `shutdown` is done; then lets requests finish, ends event streams, and returns.
///
/// # Errors
/// [`ServeError::BeyondLoopback`] where the listener is open to other machines and
/// [`Config::beyond_loopback`] does not say so.
pub async fn serve(
    config: Config,
    listener: TcpListener,
    store: Arc<dyn Store>,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let address = listener.local_addr()?;
    if !address.ip().is_loopback() && config.tls.is_none() && !config.beyond_loopback {
        return Err(ServeError::BeyondLoopback(address));
    }
    let https_only = matches!(config.tls, Some(Tls::Files { .. }));
    let certificates = config
        .tls
        .map(|tls| Certificates::open(tls, config.env.now().ms()))
        .transpose()?;
    let tls = certificates.clone().map(Certificates::config).transpose();
    let tls = tls.map_err(TlsError::from)?;
    let env = config.env.clone();
    let app = Arc::new(App {
        wake: wake::Wake::new(store.clone()),
        store,
        env: config.env,
        replicas: Arc::new(replica::Replicas::new(config.data.as_deref())),
        usage: limits::Usage::new(config.limits.clone()),
        metrics: metrics::Metrics::new(),
        metrics_token: config.metrics_token.as_deref().map(secret::text_hash),
        looked: Mutex::default(),
        trouble: Mutex::default(),
        patience: config.patience,
        heartbeat: config.heartbeat,
        beyond_loopback: config.beyond_loopback,
        automerge_writes: config.automerge_writes,
        behind_proxy: config.behind_proxy,
        https_only,
        pin: certificates.as_ref().and_then(|own| own.pin()),
    });
    follow_others(&app)?;
    let hall = Hall {
        router: router::router(app.clone()),
        tls: tls.map(|config| TlsAcceptor::from(Arc::new(config))),
        limits: config.limits,
        behind_proxy: config.behind_proxy,
        grace: config.grace,
    };
    // Who serves without being announced still serves.
    let _announced = config.announce.and_then(|at| {
        let made = Announced::make(&*app.env, address.port(), hall.tls.is_some(), at);
        made.inspect_err(|e| tracing::error!(error = %e, "the server cannot be announced"))
            .ok()
    });
    let mut hangup = Hangup::new();
    tracing::info!(%address, "serving");
    let closing = app.clone();
    let stop = async move {
        shutdown.await;
        tracing::info!("stopping: requests underway may finish");
    };
    let renewing = async {
        match certificates {
            Some(own) => own.watch(config.renewal, env, &mut hangup).await,
            None => std::future::pending().await,
        }
    };
    tokio::select! {
        () = listen::listen(hall, listener, stop, move || closing.wake.close()) => {}
        () = renewing => {}
        () = look_after(&app, config.folding) => {}
    }
    tracing::info!("stopped");
    Ok(())
}

/// Passes on what other processes on the same store tell.
fn follow_others(app: &Arc<App>) -> Result<(), store::StoreError> {
    // The store must not keep alive who keeps the store.
    let (weak, runtime) = (Arc::downgrade(app), tokio::runtime::Handle::current());
    app.store.on_news(Box::new(move |farm| {
        let Some(app) = weak.upgrade() else { return };
        app.wake.wake_here(farm);
        if let Some(farm) = farm {
            let _here = runtime.enter();
            app.follow(farm);
        }
    }))
}

/// What is done now and then. Never ends.
async fn look_after(app: &Arc<App>, folding: Duration) {
    let mut next = tokio::time::Instant::now() + folding;
    loop {
        tokio::time::sleep(Duration::from_secs(60).min(folding)).await;
        app.usage.tidy();
        if tokio::time::Instant::now() >= next {
            fold(app).await;
            next = tokio::time::Instant::now() + folding;
        }
    }
}

/// Folds old changes of every farm into their documents, one after the other.
async fn fold(app: &Arc<App>) {
    let inside = app.clone();
    let farms = app::blocking(move || Ok(inside.store.farms()?)).await;
    for farm in farms.unwrap_or_default() {
        let inside = app.clone();
        let before = app.now() - upkeep::KEEP_DAYS * 24 * 60 * 60 * 1000;
        let done = app::blocking(move || Ok(upkeep::compact(&*inside.store, farm, before)?)).await;
        if let Ok(done) = done
            && done.bytes > 0
        {
            tracing::info!(%farm, docs = done.docs, bytes = done.bytes, "old changes were folded");
        }
    }
}

/// Whether the phone app was built into this program.
pub fn carries_phone_app() -> bool {
    phone::is_built()
}
