use std::str::FromStr;

use serde_json::Value;

use super::RowError;
use super::columns::{RAW, columns};
use crate::record::{
    COMMON, DocName, FieldSpec, FieldType, Fields, Id, Instant, InvalidRecord, Kind, Record, spec,
};

/// The form of a file of records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// CSV by RFC 4180.
    Csv,
    /// One JSON object a line.
    JsonLines,
}

impl FromStr for Format {
    type Err = String;
    fn from_str(text: &str) -> Result<Format, String> {
        match text {
            "csv" => Ok(Format::Csv),
            "jsonl" | "ndjson" => Ok(Format::JsonLines),
            _ => Err("allowed are csv and jsonl".into()),
        }
    }
}

/// A record as it was first written.
#[derive(Debug, Clone, PartialEq)]
pub struct Stored {
    /// The document it stands in.
    pub doc: DocName,
    /// Its id.
    pub id: Id,
    /// Its first facts.
    pub fields: Fields,
}

/// A record of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct FileRecord {
    /// The row, as in [`RowError`].
    pub row: usize,
    /// The record.
    pub record: Stored,
}

/// What a file of records holds.
#[derive(Debug, Clone, Default)]
pub struct FileRecords {
    /// The farm that every row names.
    pub farm: Option<Id>,
    /// Rows that were looked at.
    pub read: usize,
    /// Rows that can be taken.
    pub records: Vec<FileRecord>,
    /// Rows that cannot.
    pub errors: Vec<RowError>,
}

/// Writes records of a farm; of one kind, or all.
///
/// # Errors
/// Only where a writer to memory fails, which it does not.
pub fn write_records(
    format: Format,
    farm: Id,
    only: Option<Kind>,
    records: &[Stored],
) -> Result<Vec<u8>, InvalidRecord> {
    let records = records
        .iter()
        .filter(|r| only.is_none_or(|kind| word(&r.fields) == Some(kind.code())));
    match format {
        Format::Csv => write_csv(farm, only, records),
        Format::JsonLines => {
            let mut out = String::new();
            for record in records {
                out.push_str(&Value::Object(line(farm, record)).to_string());
                out.push('\n');
            }
            Ok(out.into_bytes())
        }
    }
}

pub(super) fn word(fields: &Fields) -> Option<&str> {
    fields.get("kind").and_then(Value::as_str)
}

pub(super) fn moment(id: Id) -> Option<String> {
    id.unix_ms().map(|ms| Instant::from_ms(ms).to_string())
}

fn line(farm: Id, stored: &Stored) -> Fields {
    let mut line = match exact(stored.id, &stored.fields) {
        true => stored.fields.clone(),
        false => {
            let mut line = Fields::new();
            line.insert(RAW.into(), Value::Object(stored.fields.clone()));
            line
        }
    };
    line.insert("farm".into(), farm.to_string().into());
    line.insert("doc".into(), stored.doc.as_str().into());
    line.insert("id".into(), stored.id.to_string().into());
    if let Some(at) = moment(stored.id) {
        line.insert("at".into(), at.into());
    }
    line
}

/// Whether this version reads every field, and each stands in its one form.
fn exact(id: Id, fields: &Fields) -> bool {
    let Some(kind) = word(fields).and_then(Kind::from_code) else {
        return false;
    };
    let known = fields.iter().all(|(name, value)| {
        name == "kind"
            || field(kind, name).is_some_and(|f| f.ty.read(name, value).as_ref() == Ok(value))
    });
    known && Record::read(id, fields).is_ok_and(|record| record.consistent().is_ok())
}

pub(super) fn field(kind: Kind, name: &str) -> Option<&'static FieldSpec> {
    spec(kind).iter().chain(COMMON).find(|f| f.name == name)
}

fn write_csv<'a>(
    farm: Id,
    only: Option<Kind>,
    records: impl Iterator<Item = &'a Stored>,
) -> Result<Vec<u8>, InvalidRecord> {
    let failed = |e: csv::Error| InvalidRecord::new("file", e, "allowed is memory for the file");
    let columns = columns(only);
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    out.write_record(columns.iter().map(|c| c.name))
        .map_err(failed)?;
    for stored in records {
        let cells = cells(stored);
        let row = columns.iter().map(|column| match (column.name, &cells) {
            ("farm", _) => farm.to_string(),
            ("doc", _) => stored.doc.to_string(),
            ("id", _) => stored.id.to_string(),
            ("at", _) => moment(stored.id).unwrap_or_default(),
            ("kind", Some(_)) => word(&stored.fields).unwrap_or_default().to_string(),
            (RAW, None) => Value::Object(stored.fields.clone()).to_string(),
            (_, None) => String::new(),
            (name, Some(cells)) => cells
                .iter()
                .find(|(field, _)| *field == name)
                .map(|(_, text)| text.clone())
                .unwrap_or_default(),
        });
        out.write_record(row).map_err(failed)?;
    }
    out.into_inner()
        .map_err(|e| InvalidRecord::new("file", e.error(), "allowed is memory for the file"))
}

/// The cells of a record by column; nothing where cells cannot hold it exactly.
fn cells(stored: &Stored) -> Option<Vec<(&'static str, String)>> {
    if !exact(stored.id, &stored.fields) {
        return None;
    }
    let kind = Kind::from_code(word(&stored.fields)?)?;
    let values = stored.fields.iter().filter(|(name, _)| *name != "kind");
    values
        .map(|(name, value)| {
            let field = field(kind, name)?;
            let text = to_cell(&field.ty, value)?;
            let back = from_cell(field, &text).ok()?;
            (!text.is_empty() && back == *value).then_some((field.name, text))
        })
        .collect()
}

fn to_cell(ty: &FieldType, value: &Value) -> Option<String> {
    let scalar = |value: &Value| match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(n) => Some(n.to_string()),
        Value::Bool(yes) => Some(if *yes { "yes" } else { "no" }.to_string()),
        _ => None,
    };
    match (ty, value) {
        (FieldType::Values | FieldType::RulePack | FieldType::HousePolicy, value) => {
            Some(value.to_string())
        }
        (_, Value::Array(all)) => {
            let all: Option<Vec<_>> = all.iter().map(scalar).collect();
            all.map(|all| all.join(","))
        }
        (_, Value::Object(map)) => {
            let pairs: Option<Vec<_>> = map
                .iter()
                .map(|(key, n)| Some(format!("{key}={}", scalar(n)?)))
                .collect();
            pairs.map(|pairs| pairs.join(","))
        }
        (_, value) => scalar(value),
    }
}

pub(super) fn from_cell(field: &FieldSpec, text: &str) -> Result<Value, InvalidRecord> {
    let value = match field.ty {
        FieldType::Values => serde_json::from_str(text)
            .map_err(|_| InvalidRecord::new(field.name, format!("{text:?}"), field.ty.allowed()))?,
        _ => text.into(),
    };
    field.ty.read(field.name, &value)
}
