//! Files that people and other programs read and write: records as CSV (RFC 4180) or JSON Lines, a
//! household's own log by a map of its columns, and the record book for an inspector.
//!
//! Everything here is bytes in and values out, or the other way round; nothing reads a disk. A row
//! that cannot be read is named with its reason and keeps none of the others out.
//!
//! # Records as CSV or JSON Lines
//!
//! One record a row, with the first facts as they were logged; amendments and voids are rows of their
//! own. [`columns()`] lists the columns of CSV with their meaning. Cells hold what a draft accepts as
//! text: lots as `2026-11-25/hen=12,2026-11-25/duck=3`, weights as `58,61.5`, tallies as `a=10,b=2`,
//! yes and no, temperatures in °C, ids with 22 characters, the new values of an amendment as JSON. A
//! record that such cells cannot hold exactly (of a newer version, or written wrongly by a foreign
//! program) stands whole in the column `raw`, as JSON. A line of JSON Lines is one object: `farm`,
//! `doc`, `id`, `at`, and the fields of the record with their JSON types, or `raw`.
//!
//! What such a file does not hold is *who wrote what having seen what*: changes, their makers and
//! their order. A bundle or a backup keeps these too.
//!
//! Text that begins with `=`, `+`, `-` or `@` is written as it is, since it has to come back the same:
//! open a file from someone else in a spreadsheet as text, not as formulas.

mod book;
mod columns;
mod dates;
mod findings;
mod flocks;
mod ids;
mod log;
mod map;
mod page;
mod plan;
mod raw;
mod read;
mod records;
mod shown;
mod table;
mod text;

pub use book::{BookEntry, BookInput, BookRow, Cooler, RecordBook, Said, record_book};
pub use columns::{Column, columns};
pub use dates::DateOrder;
pub use log::{FromLog, from_log};
pub use map::{LogColumn, LogMap};
pub use page::page;
pub use plan::{LogPlan, WeightUnit};
pub use raw::Coop;
pub use read::{is_records, read_records};
pub use records::{FileRecord, FileRecords, Format, Stored, write_records};
pub use shown::Units;
pub use table::LARGEST;
pub use text::{as_csv, as_text};

use serde::Serialize;

/// A row that could not be taken.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct RowError {
    /// The row as a spreadsheet numbers it: the heading is row 1, empty rows count, a quoted line
    /// break does not begin a new one. In JSON Lines the line.
    pub row: usize,
    /// Why.
    pub why: String,
}

/// What came of a file, or would come of it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Report {
    /// Rows below the heading, empty ones aside.
    pub read: usize,
    /// Rows that brought something new.
    pub added: usize,
    /// Rows that brought nothing new: here already, or without any figure.
    pub skipped: usize,
    /// Rows that could not be taken; nothing of them was.
    pub errors: Vec<RowError>,
}
