//! Every check that crosses a layer, in one binary.
#![allow(clippy::unwrap_used)] // In a test a panic is the report.

mod architecture;
mod cartons;
mod family;
mod hostile;
mod merging;
mod rates;
mod routes;
mod simulated;
mod trade_boundaries;
mod trade_checks;
mod trade_properties;
mod trade_traps;
