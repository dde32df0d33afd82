//! The work itself, as pure functions and tables: no clock, no I/O, no shared data types.
//!
//! Every figure names where it comes from, and every result says why in words a person can read.
//! The program explains and reminds; local codes, product labels and veterinarians decide.

pub mod cartons;
mod defect;
pub mod rates;
mod species;
pub mod units;

pub use defect::Defect;
pub use species::Species;
