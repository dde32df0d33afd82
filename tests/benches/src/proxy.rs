//! A wire between phone and server that counts what passes, headers and all.

use std::io::{self, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

/// Bytes that passed, and how many of them were HTTP heads.
#[derive(Debug, Default)]
pub struct Passed {
    up: AtomicU64,
    up_heads: AtomicU64,
    down: AtomicU64,
    down_heads: AtomicU64,
}

/// What passed between two looks.
#[derive(Debug, Clone, Copy, Default)]
pub struct Traffic {
    /// Bytes from the phones.
    pub up: u64,
    /// Bytes from the phones without HTTP heads.
    pub up_bodies: u64,
    /// Bytes from the server.
    pub down: u64,
    /// Bytes from the server without HTTP heads.
    pub down_bodies: u64,
}

impl Passed {
    /// What passed since this was last asked.
    pub fn take(&self) -> Traffic {
        let take = |count: &AtomicU64| count.swap(0, Ordering::SeqCst);
        let (up, down) = (take(&self.up), take(&self.down));
        Traffic {
            up,
            up_bodies: up - take(&self.up_heads),
            down,
            down_bodies: down - take(&self.down_heads),
        }
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
                let passed = &wire.passed;
                match up {
                    true => pass(from, to, &passed.up, &passed.up_heads),
                    false => pass(from, to, &passed.down, &passed.down_heads),
                }
            });
        }
    }
}

/// How much of what was read together is an HTTP head. Here a head is written at once, so it is read
/// from its beginning.
fn head(read: &[u8]) -> usize {
    let begins = [&b"POST "[..], b"GET ", b"HTTP/1.1 "];
    if !begins.iter().any(|word| read.starts_with(word)) {
        return 0;
    }
    let end = read.windows(4).position(|four| four == b"\r\n\r\n");
    end.map_or(0, |at| at + 4)
}

fn pass(mut from: TcpStream, mut to: TcpStream, count: &AtomicU64, heads: &AtomicU64) {
    let mut buffer = [0; 64 * 1024];
    while let Ok(n) = from.read(&mut buffer) {
        if n == 0 {
            break;
        }
        count.fetch_add(n as u64, Ordering::SeqCst);
        heads.fetch_add(head(&buffer[..n]) as u64, Ordering::SeqCst);
        if to.write_all(&buffer[..n]).is_err() {
            break;
        }
    }
    let _ = to.shutdown(Shutdown::Write);
}
