use std::sync::atomic::{AtomicBool, Ordering};

/// A wish to stop, made by the app and handed to the calls that it is to stop. It never goes back.
#[derive(Debug, Default, uniffi::Object)]
pub struct CancelToken(AtomicBool);

#[uniffi::export]
impl CancelToken {
    /// A token that stops nothing yet.
    #[uniffi::constructor]
    #[allow(clippy::new_without_default)]
    pub fn new() -> CancelToken {
        CancelToken::default()
    }

    /// Stops every call that has this token, from any thread.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Release);
    }

    /// Whether it was cancelled.
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}
