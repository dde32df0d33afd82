use std::sync::Arc;

use pointdown_core::farm;

use crate::mirror::mirror_record;

/// Something of an app that hears that there is news. It is told nothing else: what is new is pulled,
/// many notices at a time.
#[uniffi::export(foreign)]
pub trait Listener: Send + Sync {
    /// There is something newer. Called on the thread whose call made the news, after its work is
    /// done; it should only pass the word on.
    fn newer(&self) -> Result<(), ListenerError>;
}

/// A listener that fell over. The farm goes on as if it had heard.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, uniffi::Error)]
pub enum ListenerError {
    /// What it said.
    #[error("{text}")]
    Failed {
        /// In words.
        text: String,
    },
}

impl From<uniffi::UnexpectedUniFFICallbackError> for ListenerError {
    fn from(e: uniffi::UnexpectedUniFFICallbackError) -> ListenerError {
        ListenerError::Failed { text: e.reason }
    }
}

/// A listener as the core calls it.
pub(crate) fn signal(listener: Arc<dyn Listener>) -> farm::Signal {
    Arc::new(move || {
        // Whoever failed to listen must not undo what was logged.
        let _ = listener.newer();
    })
}

mirror_record! {
    /// A record that stands differently now, or is new. One of the farm's own record means that
    /// anything may be counted differently.
    Notice of farm::Notice {
        /// Rises by one from notice to notice, from 1 when the database is opened.
        number: u64,
        /// The record's id.
        record: String,
        /// Whether it was logged on this device; if not, it came from another one.
        here: bool,
    }
}

mirror_record! {
    /// Notices, the oldest first.
    News of farm::News {
        /// What changed.
        notices: Vec<Notice>,
        /// Read on after this number.
        after: u64,
        /// Whether there is more to read.
        more: bool,
        /// Whether notices were lost because nobody read them in time: look at everything anew.
        missed: bool,
    }
}
