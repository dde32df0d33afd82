//! Every check that crosses a layer, in one binary.

mod architecture;
mod family;
mod hostile;
mod merging;
mod naive;
mod routes;
mod trade_boundaries;
mod trade_checks;
mod trade_properties;
mod trade_traps;
