use crate::record::Instant;

/// What comes from outside: the clock and randomness. A simulated family has its own.
pub trait Env: Send + Sync {
    /// Now, by this device's clock.
    fn now(&self) -> Instant;

    /// Fills a buffer with random bytes.
    fn fill(&self, buffer: &mut [u8]);
}

/// The clock and randomness of the operating system.
#[cfg(feature = "native")]
#[derive(Debug, Clone, Copy, Default)]
pub struct System;

#[cfg(feature = "native")]
impl Env for System {
    fn now(&self) -> Instant {
        Instant::from_ms(chrono::Utc::now().timestamp_millis())
    }

    fn fill(&self, buffer: &mut [u8]) {
        // A system without randomness cannot keep a secret or name a record: better to stop.
        if let Err(e) = getrandom::fill(buffer) {
            panic!("the system gives no random bytes: {e}");
        }
    }
}
