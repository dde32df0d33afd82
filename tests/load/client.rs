//! Just enough HTTP/1.1 (RFC 9112) to load a server without loading the machine: kept connections,
//! bodies with a length.

use std::net::SocketAddr;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::Failure;

/// A kept connection.
pub(crate) struct Client {
    address: SocketAddr,
    stream: Option<TcpStream>,
    buffer: Vec<u8>,
}

impl Client {
    pub(crate) fn new(address: SocketAddr) -> Client {
        Client {
            address,
            stream: None,
            buffer: Vec::with_capacity(4096),
        }
    }

    /// Posts a message of the exchange and returns the body of the answer.
    pub(crate) async fn sync(&mut self, token: &str, body: &[u8]) -> Result<Vec<u8>, Failure> {
        let done = self.exchange(token, body).await;
        if done.is_err() {
            self.stream = None;
        }
        done
    }

    async fn exchange(&mut self, token: &str, body: &[u8]) -> Result<Vec<u8>, Failure> {
        let stream = match &mut self.stream {
            Some(stream) => stream,
            None => {
                let fresh = TcpStream::connect(self.address).await?;
                fresh.set_nodelay(true)?;
                self.stream.insert(fresh)
            }
        };
        let mut request = format!(
            "POST /v1/sync HTTP/1.1\r\nhost: load\r\nauthorization: Bearer {token}\r\n\
             content-type: application/cbor\r\ncontent-length: {}\r\n\r\n",
            body.len()
        )
        .into_bytes();
        request.extend_from_slice(body);
        stream.write_all(&request).await?;
        self.buffer.clear();
        loop {
            if stream.read_buf(&mut self.buffer).await? == 0 {
                return Err("the server closed the connection".into());
            }
            let Some(end) = self.buffer.windows(4).position(|w| w == b"\r\n\r\n") else {
                continue;
            };
            let head = std::str::from_utf8(&self.buffer[..end])?.to_ascii_lowercase();
            let length: usize = head
                .lines()
                .find_map(|line| line.strip_prefix("content-length:"))
                .ok_or("an answer without a length")?
                .trim()
                .parse()?;
            let whole = end + 4 + length;
            while self.buffer.len() < whole {
                if stream.read_buf(&mut self.buffer).await? == 0 {
                    return Err("the server closed the connection".into());
                }
            }
            if !head.starts_with("http/1.1 200") {
                let said = String::from_utf8_lossy(&self.buffer[end + 4..whole]);
                return Err(format!("{}: {said}", head.lines().next().unwrap_or("")).into());
            }
            return Ok(self.buffer[end + 4..whole].to_vec());
        }
    }
}
