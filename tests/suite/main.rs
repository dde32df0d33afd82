//! Every check that crosses a layer, in one binary.

mod backup;
mod crash;
mod family;
mod hostile;
mod merging;
mod naive;
mod routes;
mod store;
mod tamper;
mod zones;
