//! The sync server.
