//! The suite.

mod cartons;
