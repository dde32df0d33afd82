//! The suite.

mod cartons;
mod rates;
