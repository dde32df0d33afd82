//! Checks of the server: its store, its half of the exchange, and all of it over HTTP.
#![allow(clippy::unwrap_used)]

mod contract;
mod contract_members;
mod events;
mod exchange;
mod family;
mod http;
mod kitchen;
mod kitchen_decides;
mod kitchen_pages;
mod limits;
mod members;
mod nearby;
mod open_door;
mod open_door_walls;
mod orders;
mod people;
#[allow(
    unreachable_pub,
    reason = "the tests' package offers it to several programs"
)]
#[path = "../../../tests/harness/postgres.rs"]
mod pg_server;
mod phone;
mod postgres;
mod program;
mod support;
mod tls;
mod upkeep;
mod walls;
mod watched;
