//! The real binary, run as people and scripts run it, each test with a database of its own.

mod day;
mod errors;
mod family;
mod files;
mod kinds;
mod logs;
mod paper;
mod phone;
mod review;
mod server;
mod shapes;
mod shelf;
mod times;
mod together;
