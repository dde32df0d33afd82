//! Every check that crosses a layer, in one binary.
#![allow(clippy::unwrap_used)] // In a test a panic is the report.

mod architecture;
mod backup;
mod bombs;
mod bounds;
mod cartons;
mod corpus;
mod crash;
mod family;
mod forged;
mod hostile;
mod layouts;
mod ledger;
mod merging;
mod newer;
mod now;
mod rates;
mod records;
mod recount;
mod routes;
mod simulated;
mod stocktake;
mod store;
mod takings;
mod tamper;
mod trace;
mod trade_boundaries;
mod trade_checks;
mod trade_properties;
mod trade_traps;
mod trade_words;
mod zones;
