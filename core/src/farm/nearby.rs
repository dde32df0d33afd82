//! Servers on the local network, by DNS-SD (RFC 6763) over multicast DNS (RFC 6762).
//!
//! Anyone on the network can announce anything, so what is found is only a place to knock at: who
//! it is shows by the key that came with the invite.

use std::collections::BTreeSet;
use std::net::IpAddr;
use std::time::{Duration, Instant};

use mdns_sd::{IfKind, ServiceDaemon, ServiceEvent};

use super::{ErrorKind, Farm, FarmError};

/// The type under which servers announce themselves.
pub const SERVICE: &str = "_pointdown._tcp.local.";

/// Which interfaces are listened at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interfaces {
    /// All.
    All,
    /// Only this machine, for tests.
    Loopback,
}

fn failed(e: mdns_sd::Error) -> FarmError {
    FarmError::new(
        ErrorKind::Network,
        format!("servers nearby cannot be looked for: {e}"),
    )
}

/// The addresses of servers that announce themselves within this time, in order.
///
/// # Errors
/// [`ErrorKind::Network`] where the network lets nobody ask.
pub fn nearby(within: Duration, at: Interfaces) -> Result<Vec<String>, FarmError> {
    let daemon = ServiceDaemon::new().map_err(failed)?;
    if at == Interfaces::Loopback {
        daemon.disable_interface(IfKind::All).map_err(failed)?;
        daemon
            .enable_interface(IfKind::LoopbackV4)
            .map_err(failed)?;
    }
    let events = daemon.browse(SERVICE).map_err(failed)?;
    let until = Instant::now() + within;
    let mut found = BTreeSet::new();
    while let Ok(event) = events.recv_deadline(until) {
        let ServiceEvent::ServiceResolved(server) = event else {
            continue;
        };
        let tls = server.txt_properties.get_property_val_str("tls") == Some("1");
        let scheme = if tls { "https" } else { "http" };
        for address in &server.addresses {
            let port = server.port;
            match address.to_ip_addr() {
                IpAddr::V4(ip) => found.insert(format!("{scheme}://{ip}:{port}")),
                // Without the interface that it belongs to, a link-local address leads nowhere.
                IpAddr::V6(ip) if ip.is_unicast_link_local() => false,
                IpAddr::V6(ip) => found.insert(format!("{scheme}://[{ip}]:{port}")),
            };
        }
    }
    let _ = daemon.shutdown();
    Ok(found.into_iter().collect())
}

impl Farm {
    /// Looks for the joined server at another address of the local network, where it was given a
    /// new one. Only a server that this device knows by its key can be found again so: the address
    /// that answers under that key is kept. Returns it, or nothing where there is none.
    ///
    /// # Errors
    /// [`ErrorKind::NotJoined`], or [`ErrorKind::Network`] where the network lets nobody ask.
    pub fn find_server_again(
        &self,
        within: Duration,
        at: Interfaces,
    ) -> Result<Option<String>, FarmError> {
        let joined = self.server()?;
        if joined.pin.is_none() {
            return Ok(None);
        }
        for url in nearby(within, at)? {
            // Its own token is shown to nobody but the holder of the key.
            if url.starts_with("https://") && self.answers(&url, &joined) {
                self.moved_to(&url)?;
                return Ok(Some(url));
            }
        }
        Ok(None)
    }
}
