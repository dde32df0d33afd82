use pointdown_core::{farm, files, record::edits, store};
use serde_json::Value;

use crate::mirror::{Mirror, mirror_record};

mirror_record! {
    /// A record that is durable now.
    Logged of farm::Logged {
        /// Its id.
        id: String,
        /// As it stands.
        record: Row,
    }
}

mirror_record! {
    /// A record as it stands, for lists.
    Row of store::Row {
        /// Its id.
        id: String,
        /// Its kind by word; a word of a later version is shown as it is.
        kind: String,
        /// When it happened.
        at_ms = at: i64,
        /// Its farm day; empty where it cannot be read.
        day: String,
        /// `live`, `voided` or `refused`.
        standing: String,
        /// Why it does not stand.
        why: Option<String>,
        /// The fields with amendments laid over, as a JSON object.
        fields_json = fields: String,
        /// Fields that people amended apart from each other.
        conflicts: Vec<Conflict>,
        /// Values that do not hold together.
        problem: Option<String>,
        /// Fields that this version does not know.
        unknown: Vec<String>,
    }
}

mirror_record! {
    /// A field that people amended apart from each other.
    Conflict of edits::Conflict {
        /// The field.
        field: String,
        /// Each amendment that nobody has overruled, oldest first.
        said: Vec<Said>,
    }
}

/// What one amendment says.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Said {
    /// The amendment.
    pub record: String,
    /// The value, as JSON.
    pub value_json: String,
}

impl<I: std::fmt::Display> Mirror<Said> for (I, Value) {
    fn mirror(self) -> Said {
        Said {
            record: self.0.to_string(),
            value_json: self.1.to_string(),
        }
    }
}

mirror_record! {
    /// What came of taking a table.
    TableReport of files::Report {
        /// Rows below the heading, empty ones aside.
        read: u64,
        /// Rows that brought something new.
        added: u64,
        /// Rows that brought nothing new: here already, or without any figure.
        skipped: u64,
        /// Rows that could not be taken; nothing of them was.
        errors: Vec<RowFailure>,
    }
}

mirror_record! {
    /// A row that could not be taken.
    RowFailure of files::RowError {
        /// The row as a spreadsheet numbers it: the heading is row 1.
        row: u64,
        /// What is wrong with it, in words.
        why: String,
    }
}
