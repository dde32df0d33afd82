use std::path::PathBuf;

use clap::builder::PossibleValuesParser;
use pointdown_core::files::{Format, columns};
use pointdown_core::record::Kind;
use serde_json::json;

use super::disk;
use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::input::kinds;
use crate::tables::Screen;

#[derive(Debug, clap::Args)]
pub(crate) struct Export {
    /// A new file: records as CSV where its name ends in .csv, as JSON Lines for .jsonl, else a
    /// bundle with the whole history.
    file: PathBuf,
    /// The form, whatever the name.
    #[arg(long, value_parser = PossibleValuesParser::new(["bundle", "csv", "jsonl"]))]
    format: Option<String>,
    /// Only records of this kind; not for a bundle.
    #[arg(long, value_parser = kinds())]
    kind: Option<String>,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Columns {
    /// Only those of this kind.
    #[arg(value_parser = kinds())]
    kind: Option<String>,
}

pub(crate) fn export(base: &Base, screen: &mut Screen<'_>, args: &Export) -> Result<(), Failure> {
    let farm = base.open()?;
    let ending = args.file.extension().and_then(|end| end.to_str());
    let word = args.format.as_deref().or(ending).unwrap_or_default();
    let kind = args.kind.as_deref().and_then(Kind::from_code);
    let bytes = match (word.to_lowercase().parse::<Format>(), kind) {
        (Ok(form), kind) => farm.export_records(form, kind)?,
        (Err(_), Some(kind)) => {
            let allowed = "a bundle holds every kind; allowed with --format csv or jsonl";
            return Err(invalid("kind", kind.code(), allowed));
        }
        (Err(_), None) => farm.export()?,
    };
    disk::write_new(&args.file, &bytes)?;
    let name = args.file.display();
    if screen.json {
        return Ok(screen.value(&json!({"file": name.to_string(), "bytes": bytes.len()}))?);
    }
    let what = kind.map_or("everything".into(), |kind| format!("every {}", kind.code()));
    Ok(screen.line(format!("Wrote {what} to {name} ({} bytes).", bytes.len()))?)
}

/// The columns of a CSV file of records.
pub(crate) fn print_columns(screen: &mut Screen<'_>, args: &Columns) -> Result<(), Failure> {
    let kind = args.kind.as_deref().and_then(Kind::from_code);
    let all = columns(kind);
    if screen.json {
        return Ok(screen.value(&all)?);
    }
    let rows = all.iter().map(|column| {
        let kinds: Vec<&str> = column.kinds.iter().map(|kind| kind.code()).collect();
        let kinds = if kinds.is_empty() {
            "all".into()
        } else {
            kinds.join(", ")
        };
        [column.name.to_string(), kinds, column.about.clone()]
    });
    screen.table(["column", "of", "meaning"], &[], rows)?;
    Ok(screen.line(
        "In a cell: lots as 2026-11-25/hen=12,2026-11-25/duck=3, weights as 58,61.5,\n\
         temperatures in °C, ids with 22 characters, an amendment's new values as JSON.",
    )?)
}
