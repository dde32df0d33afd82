//! The server announces itself on the local network, where that was asked for: DNS-SD (RFC 6763)
//! over multicast DNS (RFC 6762).
//!
//! Everyone on the network hears it, so it says no more than that there is a server, at which
//! address and whether it speaks TLS: no farm, no person, and a name that is drawn anew at each
//! start instead of the machine's.

use data_encoding::HEXLOWER;
use mdns_sd::{IfKind, ServiceDaemon, ServiceInfo};
use pointdown_core::farm::{Env, Interfaces, SERVICE};

/// An announcement, until it is dropped.
pub(crate) struct Announced {
    daemon: ServiceDaemon,
    name: String,
}

impl Announced {
    pub(crate) fn make(
        env: &dyn Env,
        port: u16,
        tls: bool,
        at: Interfaces,
    ) -> Result<Announced, mdns_sd::Error> {
        let daemon = ServiceDaemon::new()?;
        if at == Interfaces::Loopback {
            daemon.disable_interface(IfKind::All)?;
            daemon.enable_interface(IfKind::LoopbackV4)?;
        }
        let mut drawn = [0u8; 4];
        env.fill(&mut drawn);
        let name = format!("pointdown-{}", HEXLOWER.encode(&drawn));
        let host = format!("{name}.local.");
        let says = [("tls", if tls { "1" } else { "0" })];
        let info = ServiceInfo::new(SERVICE, &name, &host, "", port, &says[..])?;
        let info = info.enable_addr_auto();
        let name = info.get_fullname().to_string();
        daemon.register(info)?;
        Ok(Announced { daemon, name })
    }
}

impl Drop for Announced {
    fn drop(&mut self) {
        // Says goodbye, so that nobody knocks in vain.
        if let Ok(done) = self.daemon.unregister(&self.name) {
            let _ = done.recv_timeout(std::time::Duration::from_millis(500));
        }
        let _ = self.daemon.shutdown();
    }
}
