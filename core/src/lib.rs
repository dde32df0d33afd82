//! Pointdown core.
pub mod trade;
