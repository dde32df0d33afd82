//! A record book as text and as CSV.

use std::fmt::Write as _;

use super::{BookRow, RecordBook};
use crate::record::InvalidRecord;

/// The title of a record book.
pub(super) fn title(book: &RecordBook) -> String {
    format!("Record book of {}, {} to {}", book.farm, book.from, book.to)
}

/// The values of a row in one line.
pub(super) fn values(row: &BookRow) -> String {
    let all = row
        .values
        .iter()
        .map(|(name, value)| format!("{name} {value}"));
    all.collect::<Vec<_>>().join("; ")
}

/// What was said about a row later, each in a line.
pub(super) fn later(row: &BookRow) -> Vec<String> {
    let mut lines = Vec::new();
    if row.standing != "stands" && row.standing != "voided" {
        lines.push(row.standing.clone());
    }
    for said in &row.said {
        let mut line = format!(
            "{} {}: {}",
            said.when,
            or(&said.by, "nobody named"),
            said.what
        );
        if let Some(why) = &said.why {
            let _ = write!(line, " (why: {why})");
        }
        if said.taken_back {
            line.push_str(" [taken back later]");
        }
        lines.push(line);
    }
    lines
}

pub(super) fn or<'a>(text: &'a str, otherwise: &'a str) -> &'a str {
    match text {
        "" => otherwise,
        text => text,
    }
}

/// The book as plain text.
pub fn as_text(book: &RecordBook) -> String {
    let mut out = format!("{}\n", title(book));
    if let Some(producer) = &book.producer {
        let _ = writeln!(out, "{producer}");
    }
    let _ = writeln!(out, "Times are those of {}. Made {}.", book.zone, book.made);
    let _ = writeln!(out, "{}\n{}", book.rules, book.caution);
    let _ = writeln!(out, "\nWhat is missing");
    for line in &book.missing {
        let _ = writeln!(out, "  {line}");
    }
    if book.missing.is_empty() {
        let _ = writeln!(out, "  Nothing that this book looks for.");
    }
    for (kind, rows) in &book.sections {
        let _ = writeln!(out, "\n{} ({})", kind.code(), rows.len());
        for row in rows {
            let voided = if row.standing == "voided" {
                "  VOIDED"
            } else {
                ""
            };
            let place = or(&row.place, "-");
            let by = or(&row.by, "nobody named");
            let _ = writeln!(
                out,
                "  {}  {place}  {by}  {}{voided}",
                row.when,
                values(row)
            );
            if let Some(entered) = &row.entered {
                let _ = writeln!(out, "      entered {entered}");
            }
            for line in later(row) {
                let _ = writeln!(out, "      {line}");
            }
        }
    }
    out
}

/// The book as CSV (RFC 4180), one record a row.
///
/// # Errors
/// Only where a writer to memory fails, which it does not.
pub fn as_csv(book: &RecordBook) -> Result<Vec<u8>, InvalidRecord> {
    let failed = |e: csv::Error| InvalidRecord::new("file", e, "allowed is memory for the file");
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let heading = [
        "kind", "when", "entered", "who", "where", "values", "standing", "later", "id",
    ];
    out.write_record(heading).map_err(failed)?;
    for (kind, rows) in &book.sections {
        for row in rows {
            let cells = [
                kind.code().to_string(),
                row.when.clone(),
                row.entered.clone().unwrap_or_default(),
                row.by.clone(),
                row.place.clone(),
                values(row),
                row.standing.clone(),
                later(row).join("\n"),
                row.id.to_string(),
            ];
            out.write_record(cells).map_err(failed)?;
        }
    }
    for line in &book.missing {
        out.write_record(["missing", "", "", "", "", line, "", "", ""])
            .map_err(failed)?;
    }
    out.into_inner()
        .map_err(|e| InvalidRecord::new("file", e.error(), "allowed is memory for the file"))
}
