//! Every check that crosses a layer, in one binary.

mod architecture;
mod merging;
mod trade_boundaries;
mod trade_checks;
mod trade_properties;
mod trade_traps;
