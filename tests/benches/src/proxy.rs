//! A wire between phone and server that counts what passes, headers and all.

use std::io::{self, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

/// Bytes that passed.
#[derive(Debug, Default)]
pub struct Passed {
    up: AtomicU64,
    down: AtomicU64,
}

impl Passed {
    /// Bytes from the phones and from the server since this was last asked.
    pub fn take(&self) -> (u64, u64) {
        (
            self.up.swap(0, Ordering::SeqCst),
            self.down.swap(0, Ordering::SeqCst),
        )
    }
}

/// A wire with one address for as long as the program runs, whichever server is at its other end.
#[derive(Debug)]
pub struct Wire {
    /// Where phones find it.
    pub url: String,
    /// What passed.
    pub passed: Passed,
    server: Mutex<Option<SocketAddr>>,
}

impl Wire {
    /// Begins to listen.
    pub fn lay() -> io::Result<Arc<Wire>> {
        let listener = TcpListener::bind("127.0.0.1:0")?;
        let wire = Arc::new(Wire {
            url: format!("http://{}", listener.local_addr()?),
            passed: Passed::default(),
            server: Mutex::new(None),
        });
        let laid = wire.clone();
        thread::spawn(move || {
            for phone in listener.incoming().flatten() {
                laid.connect(&phone);
            }
        });
        Ok(wire)
    }

    /// Leads to this server from now on.
    pub fn lead_to(&self, server: SocketAddr) {
        if let Ok(mut there) = self.server.lock() {
            *there = Some(server);
        }
    }

    fn connect(self: &Arc<Wire>, phone: &TcpStream) {
        let there = self.server.lock().ok().and_then(|there| *there);
        let Some(Ok(server)) = there.map(TcpStream::connect) else {
            return;
        };
        let _ = phone.set_nodelay(true).and(server.set_nodelay(true));
        for up in [true, false] {
            let (Ok(from), Ok(to)) = (phone.try_clone(), server.try_clone()) else {
                return;
            };
            let (from, to) = if up { (from, to) } else { (to, from) };
            let wire = self.clone();
            thread::spawn(move || {
                let count = if up {
                    &wire.passed.up
                } else {
                    &wire.passed.down
                };
                pass(from, to, count);
            });
        }
    }
}

fn pass(mut from: TcpStream, mut to: TcpStream, count: &AtomicU64) {
    let mut buffer = [0; 16 * 1024];
    while let Ok(n) = from.read(&mut buffer) {
        if n == 0 {
            break;
        }
        count.fetch_add(n as u64, Ordering::SeqCst);
        if to.write_all(&buffer[..n]).is_err() {
            break;
        }
    }
    let _ = to.shutdown(Shutdown::Write);
}
