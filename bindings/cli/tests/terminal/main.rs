//! The real binary, run as people and scripts run it, each test with a database of its own.

mod day;
mod errors;
mod family;
mod files;
mod kinds;
mod phone;
mod server;
mod shapes;
mod shelf;
mod times;
mod together;
