//! The sync server.
pub mod exchange;
pub mod store;
