//! How much anyone may ask for.
//!
//! A code of an invite has 128 random bits, a token 256: at a million guesses a second, the first
//! takes 5 * 10^24 years on average. The limits below are not what keeps guessing hopeless; they
//! keep one device or address from taking the server away from the others.

use std::collections::HashMap;
use std::net::IpAddr;
use std::num::NonZeroU32;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use pointdown_core::record::Id;

use crate::error::ApiError;

/// Limits of the server. Those by address do not hold for this machine itself.
#[derive(Debug, Clone)]
pub struct Limits {
    /// Open connections; more wait until one ends.
    pub connections: usize,
    /// Open connections of one address; more are closed at once.
    pub connections_per_address: usize,
    /// How long a client may take for a TLS handshake, and for the head of a request.
    pub head: Duration,
    /// How long a client may leave an answer lying unread.
    pub unread: Duration,
    /// Open event streams of one device.
    pub streams_per_device: usize,
    /// Requests of one device a second, on average; twenty times as many at once.
    pub device_rate: NonZeroU32,
    /// Requests of one address a second, on average; twenty times as many at once.
    pub address_rate: NonZeroU32,
    /// Invites that were refused to one address within ten minutes before it has to wait.
    pub refused_joins: NonZeroU32,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            connections: 4096,
            connections_per_address: 256,
            head: Duration::from_secs(10),
            unread: Duration::from_secs(30),
            streams_per_device: 4,
            device_rate: NonZeroU32::new(50).unwrap_or(NonZeroU32::MIN),
            address_rate: NonZeroU32::new(100).unwrap_or(NonZeroU32::MIN),
            refused_joins: NonZeroU32::new(20).unwrap_or(NonZeroU32::MIN),
        }
    }
}

/// What was used up of the limits.
pub(crate) struct Usage {
    limits: Limits,
    devices: DefaultKeyedRateLimiter<Id>,
    addresses: DefaultKeyedRateLimiter<IpAddr>,
    refused: Mutex<HashMap<IpAddr, (u32, Instant)>>,
    streams: Arc<Counts<Id>>,
}

/// How long refused invites are remembered.
const REMEMBERED: Duration = Duration::from_secs(600);

fn quota(rate: NonZeroU32) -> Quota {
    Quota::per_second(rate).allow_burst(rate.saturating_mul(NonZeroU32::MIN.saturating_add(19)))
}

impl Usage {
    pub(crate) fn new(limits: Limits) -> Usage {
        Usage {
            devices: RateLimiter::keyed(quota(limits.device_rate)),
            addresses: RateLimiter::keyed(quota(limits.address_rate)),
            refused: Mutex::default(),
            streams: Arc::default(),
            limits,
        }
    }

    /// One more request of an address.
    pub(crate) fn address(&self, address: IpAddr) -> Result<(), ApiError> {
        if !address.is_loopback() && self.addresses.check_key(&address).is_err() {
            return Err(ApiError::too_many("requests", 1));
        }
        Ok(())
    }

    /// One more request of a device.
    pub(crate) fn device(&self, device: Id) -> Result<(), ApiError> {
        self.devices
            .check_key(&device)
            .map_err(|_| ApiError::too_many("requests", 1))
    }

    /// Whether an address may try an invite.
    pub(crate) fn may_join(&self, address: IpAddr) -> Result<(), ApiError> {
        let mut refused = self.refused.lock().unwrap_or_else(PoisonError::into_inner);
        refused.retain(|_, (_, since)| since.elapsed() < REMEMBERED);
        match refused.get(&address) {
            Some((n, since)) if *n >= self.limits.refused_joins.get() => {
                let rest = REMEMBERED.saturating_sub(since.elapsed());
                Err(ApiError::too_many("refused invites", rest.as_secs() + 1))
            }
            _ => Ok(()),
        }
    }

    /// An invite was refused.
    pub(crate) fn join_refused(&self, address: IpAddr) {
        let mut refused = self.refused.lock().unwrap_or_else(PoisonError::into_inner);
        refused.entry(address).or_insert((0, Instant::now())).0 += 1;
    }

    /// One more event stream of a device, until the guard is dropped.
    pub(crate) fn stream(&self, device: Id) -> Result<Counted<Id>, ApiError> {
        Counts::take(&self.streams, device, self.limits.streams_per_device)
            .ok_or_else(|| ApiError::too_many("event streams", 15))
    }

    /// How many event streams are open.
    pub(crate) fn streams(&self) -> usize {
        self.streams.total()
    }

    /// Forgets who has not asked for a while.
    pub(crate) fn tidy(&self) {
        self.devices.retain_recent();
        self.addresses.retain_recent();
    }
}

/// How many there are of each.
pub(crate) struct Counts<K>(Mutex<HashMap<K, usize>>);

impl<K> Default for Counts<K> {
    fn default() -> Counts<K> {
        Counts(Mutex::default())
    }
}

impl<K: std::hash::Hash + Eq + Copy> Counts<K> {
    pub(crate) fn take(this: &Arc<Counts<K>>, key: K, most: usize) -> Option<Counted<K>> {
        let mut all = this.0.lock().unwrap_or_else(PoisonError::into_inner);
        let n = all.entry(key).or_default();
        if *n >= most {
            return None;
        }
        *n += 1;
        Some(Counted(this.clone(), key))
    }

    pub(crate) fn total(&self) -> usize {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.values().sum()
    }
}

/// One of a count, given back when dropped.
pub(crate) struct Counted<K: std::hash::Hash + Eq + Copy>(Arc<Counts<K>>, K);

impl<K: std::hash::Hash + Eq + Copy> Drop for Counted<K> {
    fn drop(&mut self) {
        let mut all = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(n) = all.get_mut(&self.1) {
            *n -= 1;
            if *n == 0 {
                all.remove(&self.1);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap_or(IpAddr::from([0, 0, 0, 0]))
    }

    #[test]
    fn an_address_that_asks_without_end_is_slowed_and_this_machine_is_not() {
        let usage = Usage::new(Limits {
            address_rate: NonZeroU32::MIN,
            ..Limits::default()
        });
        let (busy, calm) = (ip("192.0.2.1"), ip("192.0.2.2"));
        let let_through = (0..40).filter(|_| usage.address(busy).is_ok()).count();
        assert!((20..25).contains(&let_through), "{let_through}");
        assert!(usage.address(calm).is_ok());
        assert!((0..40).all(|_| usage.address(ip("127.0.0.1")).is_ok()));
    }

    #[test]
    fn a_place_that_is_given_back_is_free_again() {
        let counts: Arc<Counts<IpAddr>> = Arc::default();
        let take = |at| Counts::take(&counts, ip(at), 2);
        let (one, two) = (take("192.0.2.1"), take("192.0.2.1"));
        assert!(one.is_some() && two.is_some() && take("192.0.2.1").is_none());
        assert!(take("192.0.2.2").is_some());
        drop(one);
        assert!(take("192.0.2.1").is_some());
        drop(two);
        assert_eq!(counts.total(), 0, "nothing is kept of who left");
    }
}
