//! Pointdown for native apps: the [`Farm`](pointdown_core::farm::Farm) facade, and nothing deeper,
//! in a form that UniFFI turns into Kotlin, Swift and Python.
//!
//! Nothing is decided here. Types of the core that would leak (ids, days, moments, trees) have a
//! mirror here; each call turns its words into the core's, asks the facade once, and turns the answer
//! back. Every call blocks until it is done, which for a record means that it is on the disk: an app
//! calls from a thread of its own, as the thin layers beside the generated code do.

mod cancel;
mod error;
mod event;
mod farm;
mod mirror;
mod told;
mod watch;

pub use cancel::CancelToken;
pub use error::PointdownError;
pub use event::{Draft, Event};
pub use farm::*;
pub use told::*;
pub use watch::{Listener, ListenerError, News, Notice};

uniffi::setup_scaffolding!("pointdown");

/// The version of the library.
#[uniffi::export]
pub fn library_version() -> String {
    env!("CARGO_PKG_VERSION").into()
}
