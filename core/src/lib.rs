//! Pointdown core.
pub mod book;
pub mod record;
pub mod sync;
pub mod trade;
