//! Exchanges that a person can stop. The request that is under way then is left to itself: its
//! answer is dropped, which an exchange bears at any point.

use std::io::BufRead;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use super::exchange::Joined;
use super::http::{agent, events, post};
use super::{ErrorKind, Exchange, Farm, FarmError, Join};

/// How often somebody's wish to stop is asked for.
const LOOK: Duration = Duration::from_millis(20);

impl Farm {
    /// As [`Farm::join`]; ends with [`ErrorKind::Cancelled`] soon after `stop` says `true`. Stopped before
    /// the server answered, the farm is not joined, and the invite may be used up all the same: it is good
    /// once, and the answer was on its way. Stopped later, the farm is joined, and the next exchange goes
    /// on from there.
    pub fn join_until(
        &self,
        join: &Join<'_>,
        stop: &dyn Fn() -> bool,
    ) -> Result<Exchange, FarmError> {
        self.join_by(join, |ask| request(stop, ask))?;
        self.sync_until(stop)
    }

    /// As [`Farm::sync`]; ends with [`ErrorKind::Cancelled`] soon after `stop` says `true`. What was
    /// exchanged until then is kept, and the next exchange goes on from there.
    pub fn sync_until(&self, stop: &dyn Fn() -> bool) -> Result<Exchange, FarmError> {
        self.sync_by(&|agent, joined, ask| {
            let (agent, joined, ask) = (agent.clone(), joined.clone(), ask.to_vec());
            request(stop, move || post(&agent, &joined, &ask))
        })
    }

    /// As [`Farm::listen`]; ends soon after `stop` says `true`, without an error.
    pub fn listen_until(
        &self,
        stop: &dyn Fn() -> bool,
        mut poke: impl FnMut() -> bool,
    ) -> Result<(), FarmError> {
        let joined: Joined = self.server()?;
        let agent = agent(joined.pin.as_deref(), None)?;
        let heard = alone(move |send| {
            let lines = match events(&agent, &joined) {
                Ok(reader) => reader.lines(),
                Err(e) => return drop(send.send(Err(e))),
            };
            for line in lines {
                let broken =
                    |e| FarmError::new(ErrorKind::Network, format!("the connection ended: {e}"));
                let line = line.map_err(broken);
                let last = line.is_err();
                // Nobody listens any more once the asker has gone.
                if send.send(line).is_err() || last {
                    return;
                }
            }
        });
        loop {
            let line = match next(&heard, stop) {
                Ok(Some(line)) => line?,
                Ok(None) => return Ok(()),
                Err(e) if e.kind == ErrorKind::Cancelled => return Ok(()),
                Err(e) => return Err(e),
            };
            if line == "event: newer" && !poke() {
                return Ok(());
            }
        }
    }
}

/// One answer, waited for until somebody wants to stop.
fn request<T: Send + 'static>(
    stop: &dyn Fn() -> bool,
    ask: impl FnOnce() -> Result<T, FarmError> + Send + 'static,
) -> Result<T, FarmError> {
    let answer = alone(move |send| {
        let _ = send.send(ask());
    });
    next(&answer, stop)?.unwrap_or_else(|| {
        let message = "the request ended without an answer";
        Err(FarmError::new(ErrorKind::Network, message))
    })
}

/// Runs on a thread of its own, which ends by itself.
fn alone<T: Send + 'static>(
    work: impl FnOnce(std::sync::mpsc::Sender<T>) + Send + 'static,
) -> Receiver<T> {
    let (send, receive) = channel();
    std::thread::spawn(move || work(send));
    receive
}

/// The next word of the other thread; nothing when it has ended.
fn next<T>(from: &Receiver<T>, stop: &dyn Fn() -> bool) -> Result<Option<T>, FarmError> {
    loop {
        if stop() {
            let message = "stopped; nothing is lost, and the next exchange goes on from here";
            return Err(FarmError::new(ErrorKind::Cancelled, message));
        }
        match from.recv_timeout(LOOK) {
            Ok(word) => return Ok(Some(word)),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Ok(None),
        }
    }
}
