//! What the tests share.

pub mod checks;
