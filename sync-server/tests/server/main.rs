//! Checks of the server: its store, its half of the exchange, and all of it over HTTP.
#![allow(clippy::unwrap_used)]

mod contract;
mod contract_members;
mod events;
mod exchange;
mod family;
mod http;
mod kitchen;
mod limits;
mod members;
mod nearby;
mod orders;
mod people;
mod program;
mod support;
mod tls;
mod upkeep;
mod walls;
