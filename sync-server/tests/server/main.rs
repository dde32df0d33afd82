//! Checks of the server: its store, its half of the exchange, and all of it over HTTP.
#![allow(clippy::unwrap_used)]

mod contract;
mod events;
mod exchange;
mod family;
mod http;
mod kitchen;
mod members;
mod orders;
mod phone;
mod program;
mod support;
