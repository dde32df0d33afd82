use std::path::PathBuf;

use pointdown_core::files::{as_csv, as_text, page};
use serde_json::json;

use super::disk;
use crate::base::Base;
use crate::fail::Failure;
use crate::moments::Calendar;
use crate::tables::Screen;

#[derive(Debug, clap::Args)]
pub(crate) struct Book {
    /// The first day; unless given, as far back as the farm's rules ask for records to be kept.
    #[arg(long, value_name = "DAY")]
    from: Option<String>,
    /// The last day; today unless given.
    #[arg(long, value_name = "DAY")]
    to: Option<String>,
    /// Write a page to be printed to this new file.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write a table to this new file.
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
}

pub(crate) fn print(base: &Base, screen: &mut Screen<'_>, args: &Book) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let day = |field: &str, text: &Option<String>| {
        let text = text.as_deref();
        text.map(|text| calendar.day(field, text)).transpose()
    };
    let book = farm.record_book(day("from", &args.from)?, day("to", &args.to)?)?;
    let mut written = Vec::new();
    if let Some(file) = &args.html {
        disk::write_new(file, page(&book).as_bytes())?;
        written.push(file.display().to_string());
    }
    if let Some(file) = &args.csv {
        disk::write_new(file, &as_csv(&book)?)?;
        written.push(file.display().to_string());
    }
    if screen.json {
        let mut all = json!(book);
        all["files"] = json!(written);
        return Ok(screen.value(&all)?);
    }
    if written.is_empty() {
        return Ok(screen.line(as_text(&book).trim_end())?);
    }
    let records: usize = book.sections.iter().map(|(_, rows)| rows.len()).sum();
    for file in written {
        screen.line(format!("Wrote {records} records to {file}."))?;
    }
    for line in &book.missing {
        screen.line(format!("Missing: {line}"))?;
    }
    Ok(screen.line(book.caution)?)
}
