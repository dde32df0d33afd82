//! Connections: how many there may be, how slow, and TLS on them.

use std::convert::Infallible;
use std::future::Future;
use std::net::IpAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::response::Response;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio_io_timeout::TimeoutStream;
use tokio_rustls::TlsAcceptor;

use crate::limits::{Counted, Counts, Limits};

/// The most bytes of the head of a request.
const MOST_HEAD: usize = 32 * 1024;

/// The other end of a connection.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer {
    pub(crate) address: IpAddr,
    /// Whether it speaks TLS with this server.
    pub(crate) tls: bool,
}

/// What is needed to serve connections.
pub(crate) struct Hall {
    pub(crate) router: Router,
    pub(crate) tls: Option<TlsAcceptor>,
    pub(crate) limits: Limits,
    /// Whether all connections come from a proxy, so that its address says nothing.
    pub(crate) behind_proxy: bool,
    /// How long what is underway may go on after the word to stop.
    pub(crate) grace: Duration,
}

/// Takes connections until `stop` is done, then lets what is underway finish.
pub(crate) async fn listen(
    hall: Hall,
    listener: TcpListener,
    stop: impl Future<Output = ()>,
    then: impl FnOnce(),
) {
    let hall = Arc::new(hall);
    let places = Arc::new(Semaphore::new(hall.limits.connections));
    let by_address: Arc<Counts<IpAddr>> = Arc::default();
    // Whoever is underway holds a receiver.
    let ending = watch::Sender::new(());
    let mut stop = std::pin::pin!(stop);
    loop {
        // Where every place is taken, the next one waits in the system's queue.
        let next = async {
            let place = places.clone().acquire_owned().await.ok()?;
            Some((place, listener.accept().await))
        };
        let accepted = tokio::select! {
            next = next => next,
            () = &mut stop => break,
        };
        let Some((place, accepted)) = accepted else {
            break;
        };
        let (stream, address) = match accepted {
            Ok((stream, address)) => (stream, address.ip().to_canonical()),
            Err(e) => {
                // Too many open files, for example: others have to end first.
                tracing::warn!(error = %e, "a connection could not be taken");
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            }
        };
        let exempt = address.is_loopback() || hall.behind_proxy;
        let most = if exempt {
            usize::MAX
        } else {
            hall.limits.connections_per_address
        };
        let Some(counted) = Counts::take(&by_address, address, most) else {
            continue;
        };
        let seat = Seat(place, counted);
        let (hall, told) = (hall.clone(), ending.subscribe());
        tokio::spawn(async move {
            serve(&hall, stream, address, told).await;
            drop(seat);
        });
    }
    drop(listener);
    then();
    ending.send_replace(());
    tokio::select! {
        () = ending.closed() => {}
        () = tokio::time::sleep(hall.grace) => {
            tracing::warn!("some connections did not end in time; they are cut");
        }
    }
}

/// Changes when the server is to stop.
type Told = watch::Receiver<()>;

/// What a connection takes up, given back when dropped.
struct Seat(
    #[expect(dead_code, reason = "held, not read")] OwnedSemaphorePermit,
    #[expect(dead_code, reason = "held, not read")] Counted<IpAddr>,
);

async fn serve(hall: &Hall, stream: TcpStream, address: IpAddr, told: Told) {
    // Answers are small and should leave at once.
    let _ = stream.set_nodelay(true);
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(hall.limits.unread));
    let stream = Box::pin(stream);
    let Some(acceptor) = &hall.tls else {
        return speak(
            hall,
            stream,
            Peer {
                address,
                tls: false,
            },
            told,
        )
        .await;
    };
    match tokio::time::timeout(hall.limits.head, acceptor.accept(stream)).await {
        Ok(Ok(stream)) => speak(hall, stream, Peer { address, tls: true }, told).await,
        Ok(Err(e)) => tracing::debug!(error = %e, "no TLS handshake"),
        Err(_) => tracing::debug!("a TLS handshake took too long"),
    }
}

type Answering = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

async fn speak<S>(hall: &Hall, stream: S, peer: Peer, mut told: Told)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let router = TowerToHyperService::new(hall.router.clone());
    let service = service_fn(move |mut request: hyper::Request<Incoming>| -> Answering {
        request.extensions_mut().insert(peer);
        Box::pin(hyper::service::Service::call(&router, request))
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(hall.limits.head)
        .max_buf_size(MOST_HEAD)
        .serve_connection(TokioIo::new(stream), service)
        .with_upgrades();
    let mut connection = std::pin::pin!(connection);
    let done = tokio::select! {
        done = connection.as_mut() => done,
        _ = told.changed() => {
            // What is underway is answered, then the connection ends.
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    if let Err(e) = done {
        tracing::debug!(error = %e, "a connection broke off");
    }
}
