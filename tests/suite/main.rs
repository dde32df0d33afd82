//! The suite.
