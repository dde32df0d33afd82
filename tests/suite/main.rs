//! The suite.
#![allow(clippy::unwrap_used)] // In a test a panic is the report.

mod cartons;
mod rates;
