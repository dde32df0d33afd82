//! Every check that crosses a layer, in one binary.

mod backup;
mod bounds;
mod crash;
mod family;
mod forged;
mod hostile;
mod layouts;
mod ledger;
mod merging;
mod naive;
mod newer;
mod records;
mod recount;
mod routes;
mod store;
mod tamper;
mod zones;
