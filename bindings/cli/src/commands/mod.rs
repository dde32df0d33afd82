//! What each command does: ask the facade, then print for people or for programs.

pub(crate) mod backup;
pub(crate) mod disk;
pub(crate) mod exchange;
pub(crate) mod export;
pub(crate) mod fields;
pub(crate) mod holds;
pub(crate) mod import;
pub(crate) mod log;
pub(crate) mod nearby;
pub(crate) mod now;
pub(crate) mod print;
pub(crate) mod range;
pub(crate) mod record_book;
pub(crate) mod records;
pub(crate) mod review;
pub(crate) mod setup;
pub(crate) mod sheet;
pub(crate) mod stocktake;
pub(crate) mod suggest;
pub(crate) mod takings;
pub(crate) mod trace;
pub(crate) mod trends;
pub(crate) mod upkeep;
