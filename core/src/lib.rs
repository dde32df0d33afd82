//! Pointdown core.
pub mod book;
#[cfg(feature = "farm")]
pub mod farm;
#[cfg(feature = "files")]
pub mod files;
#[cfg(feature = "ledger")]
pub mod ledger;
#[doc(hidden)]
pub mod mutants;
#[cfg(feature = "paper")]
pub mod paper;
pub mod record;
#[cfg(feature = "store")]
pub mod store;
pub mod sync;
pub mod trade;
