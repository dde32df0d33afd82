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
//! POST   /v1/invites       JSON   an invite to the own farm
//! GET    /v1/devices       JSON   who belongs to the own farm
//! DELETE /v1/devices/{id}         shuts a device out
//! GET    /                        the kitchen screen
//! ```
//!
//! The server speaks plain HTTP and listens on this machine only, unless told otherwise in so many
//! words: put a reverse proxy with a certificate before it where phones come over a network.

mod app;
mod auth;
mod error;
mod events;
pub mod exchange;
mod kitchen;
mod members;
mod replica;
mod repo;
mod secret;
pub mod store;

use std::future::Future;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use pointdown_core::farm::{Env, System};
use tokio::net::TcpListener;

use app::App;
use store::Store;

pub use members::{INVITE_HOURS, Invite, make_invite};

/// How the server runs.
#[derive(Clone)]
pub struct Config {
    /// The data folder, for the replicas of the kitchen screen; without one they are in memory.
    pub data: Option<PathBuf>,
    /// Whether plain HTTP may be served to other machines.
    pub beyond_loopback: bool,
    /// Whether what programs write at `/v1/automerge` is taken; otherwise they only read.
    pub automerge_writes: bool,
    /// How long a request may take.
    pub patience: Duration,
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
         records would travel in the clear. Listen on 127.0.0.1 behind a proxy with a certificate, \
         or allow it in so many words"
    )]
    BeyondLoopback(SocketAddr),
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
    if !address.ip().is_loopback() && !config.beyond_loopback {
        return Err(ServeError::BeyondLoopback(address));
    }
    let app = Arc::new(App {
        wake: events::Wake::new(store.clone()),
        store,
        env: config.env,
        replicas: replica::Replicas::new(config.data.as_deref()),
        patience: config.patience,
        heartbeat: config.heartbeat,
        beyond_loopback: config.beyond_loopback,
        automerge_writes: config.automerge_writes,
    });
    follow_others(&app)?;
    tracing::info!(%address, "serving");
    let (stopping, stopped) = tokio::sync::oneshot::channel::<()>();
    let closing = app.clone();
    let served = axum::serve(listener, app::router(app)).with_graceful_shutdown(async move {
        shutdown.await;
        tracing::info!("stopping: requests underway may finish");
        closing.wake.close();
        let _ = stopping.send(());
    });
    tokio::select! {
        done = served.into_future() => done?,
        () = overdue(stopped, config.grace) => {
            tracing::warn!("some connections did not end in time; they are cut");
        }
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
            app.replicas.follow(&app, farm);
        }
    }))
}

/// Done when the grace after the word to stop is over. A connection that never says anything must
/// not keep the server from stopping.
async fn overdue(stopped: tokio::sync::oneshot::Receiver<()>, grace: Duration) {
    if stopped.await.is_err() {
        std::future::pending::<()>().await;
    }
    tokio::time::sleep(grace).await;
}
