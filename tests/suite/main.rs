//! The suite.

mod trade_boundaries;
mod trade_checks;
mod trade_properties;
mod trade_traps;
