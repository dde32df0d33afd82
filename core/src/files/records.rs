use std::str::FromStr;

use serde_json::Value;

use super::RowError;
use super::columns::{RAW, columns};
use super::table::{LARGEST, Table, TableRow};
use crate::record::{
    COMMON, DocName, FieldSpec, FieldType, Fields, Id, Instant, InvalidRecord, Kind, Record,
    decode, encode, spec,
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

fn word(fields: &Fields) -> Option<&str> {
    fields.get("kind").and_then(Value::as_str)
}

fn moment(id: Id) -> Option<String> {
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

fn field(kind: Kind, name: &str) -> Option<&'static FieldSpec> {
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

fn from_cell(field: &FieldSpec, text: &str) -> Result<Value, InvalidRecord> {
    let value = match field.ty {
        FieldType::Values => serde_json::from_str(text)
            .map_err(|_| InvalidRecord::new(field.name, format!("{text:?}"), field.ty.allowed()))?,
        _ => text.into(),
    };
    field.ty.read(field.name, &value)
}

/// Reads a file of records: CSV with the headings of [`columns`], in any order, or JSON Lines.
///
/// # Errors
/// Where the file as a whole is neither.
pub fn read_records(bytes: &[u8]) -> Result<FileRecords, InvalidRecord> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match text.iter().find(|b| !b.is_ascii_whitespace()) {
        Some(b'{') => read_lines(text),
        _ => read_csv(bytes),
    }
}

/// What a row says of itself, beside the fields.
struct Head<'a> {
    farm: &'a str,
    doc: &'a str,
    id: &'a str,
    at: Option<&'a str>,
}

impl FileRecords {
    fn take(&mut self, row: usize, read: Result<(Id, Stored), String>) {
        self.read += 1;
        let taken = read.and_then(|(farm, record)| match self.farm {
            Some(first) if first != farm => Err(format!(
                "farm {farm} is not allowed; the rows before are of farm {first}"
            )),
            _ => {
                self.farm = Some(farm);
                Ok(record)
            }
        });
        match taken {
            Ok(record) => self.records.push(FileRecord { row, record }),
            Err(why) => self.errors.push(RowError { row, why }),
        }
    }
}

fn read_lines(bytes: &[u8]) -> Result<FileRecords, InvalidRecord> {
    if bytes.len() > LARGEST {
        let allowed = format!("allowed are at most {LARGEST} bytes");
        return Err(InvalidRecord::new(
            "file",
            format!("{} bytes", bytes.len()),
            allowed,
        ));
    }
    let mut all = FileRecords::default();
    for (n, line) in bytes.split(|b| *b == b'\n').enumerate() {
        if line.iter().all(u8::is_ascii_whitespace) {
            continue;
        }
        let read = serde_json::from_slice::<Fields>(line)
            .map_err(|e| format!("it is no JSON object: {e}"))
            .and_then(read_line);
        all.take(n + 1, read);
    }
    Ok(all)
}

fn read_line(mut line: Fields) -> Result<(Id, Stored), String> {
    let mut own = |name: &str| match line.remove(name) {
        Some(Value::String(text)) => Ok(text),
        Some(other) => Err(format!("{name} {other} is not allowed; allowed is text")),
        None => Ok(String::new()),
    };
    let (farm, doc, id, at) = (own("farm")?, own("doc")?, own("id")?, own("at")?);
    let head = Head {
        farm: &farm,
        doc: &doc,
        id: &id,
        at: Some(at.as_str()).filter(|at| !at.is_empty()),
    };
    let raw = match line.remove(RAW) {
        Some(Value::Object(raw)) if line.is_empty() => Some(raw),
        Some(_) => return Err("raw is not allowed beside other fields, or as no object".into()),
        None => None,
    };
    match raw {
        Some(raw) => foreign(&head, raw),
        None => known(&head, line),
    }
}

fn read_csv(bytes: &[u8]) -> Result<FileRecords, InvalidRecord> {
    let all_columns = columns(None);
    let names: Vec<&str> = all_columns.iter().map(|c| c.name).collect();
    let table = Table::open(bytes, &names)?;
    for needed in ["farm", "doc", "id", "kind"] {
        if table.column(needed).is_none() {
            return Err(InvalidRecord::missing(
                &format!("file: column {needed}"),
                "a file of records begins with the columns farm, doc, id, at, kind",
            ));
        }
    }
    let mut all = FileRecords::default();
    if let Some(other) = table
        .heading
        .iter()
        .find(|name| !names.contains(&name.as_str()))
    {
        let allowed = format!("allowed are {}", names.join(", "));
        return Err(InvalidRecord::new(
            "file: column",
            format!("{other:?}"),
            allowed,
        ));
    }
    let rows = table.rows();
    for (n, row) in rows.iter().enumerate() {
        let read = if n + 1 == rows.len() && table.never_closed(row) {
            Err("a quotation mark is never closed".to_string())
        } else {
            read_row(&table, row)
        };
        all.take(row.row, read);
    }
    Ok(all)
}

fn read_row(table: &Table<'_>, row: &TableRow) -> Result<(Id, Stored), String> {
    if row.len() > table.heading.len() {
        let (here, due) = (row.len(), table.heading.len());
        return Err(format!("it has {here} cells, the heading {due}"));
    }
    let cell = |name: &str| match table.column(name) {
        Some(column) => row.cell(column),
        None => Ok(None),
    };
    let head = Head {
        farm: cell("farm")?.unwrap_or_default(),
        doc: cell("doc")?.unwrap_or_default(),
        id: cell("id")?.unwrap_or_default(),
        at: cell("at")?,
    };
    if let Some(raw) = cell(RAW)? {
        let raw = serde_json::from_str(raw).map_err(|e| format!("raw is no JSON object: {e}"))?;
        return foreign(&head, raw);
    }
    let word = cell("kind")?.unwrap_or_default();
    let kind = Kind::from_code(word).ok_or_else(|| format!("kind {word:?} is not known"))?;
    let mut fields = Fields::new();
    fields.insert("kind".into(), word.into());
    for (column, name) in table.heading.iter().enumerate() {
        if ["farm", "doc", "id", "at", "kind", RAW].contains(&name.as_str()) {
            continue;
        }
        let Some(text) = row.cell(column)? else {
            continue;
        };
        let field = field(kind, name).ok_or_else(|| format!("a {word} has no {name}"))?;
        let value = from_cell(field, text).map_err(|e| e.to_string())?;
        fields.insert(name.clone(), value);
    }
    known(&head, fields)
}

/// A record that this version reads, each value in its one form.
fn known(head: &Head<'_>, mut fields: Fields) -> Result<(Id, Stored), String> {
    let kind = match word(&fields).map(|word| (word, Kind::from_code(word))) {
        Some((_, Some(kind))) => kind,
        Some((word, None)) => return Err(format!("kind {word:?} is not known")),
        None => return Err("kind must be given".into()),
    };
    for (name, value) in &mut fields {
        if name != "kind" {
            let field =
                field(kind, name).ok_or_else(|| format!("a {} has no {name}", kind.code()))?;
            *value = field.ty.read(name, value).map_err(|e| e.to_string())?;
        }
    }
    let (farm, doc, id) = head.read()?;
    at_home(kind, &doc, id)?;
    let record = Record::read(id, &fields).map_err(|e| e.to_string())?;
    record.consistent().map_err(|e| e.to_string())?;
    Ok((farm, Stored { doc, id, fields }))
}

/// A record of a known kind stands where its id says; an edit may stand beside a set-up fact.
fn at_home(kind: Kind, doc: &DocName, id: Id) -> Result<(), String> {
    let home = DocName::home(kind, id);
    if *doc == home || (kind.is_edit() && doc.is_farm()) {
        return Ok(());
    }
    Err(format!(
        "doc {doc} is not allowed; a {} of that id stands in {home}",
        kind.code()
    ))
}

/// A record that this version does not read; kept as any phone keeps it, counted nowhere.
fn foreign(head: &Head<'_>, fields: Fields) -> Result<(Id, Stored), String> {
    let (farm, doc, id) = head.read()?;
    if let Some(kind) = word(&fields).and_then(Kind::from_code) {
        at_home(kind, &doc, id)?;
    }
    match decode(&encode(&fields)) {
        Ok(back) if back == fields => Ok((farm, Stored { doc, id, fields })),
        Ok(_) => Err("raw does not come back the same".into()),
        Err(e) => Err(e.to_string()),
    }
}

impl Head<'_> {
    fn read(&self) -> Result<(Id, DocName, Id), String> {
        let id = |name: &str, text: &str| {
            text.parse::<Id>().map_err(|e| match text {
                "" => format!("{name} must be given"),
                _ => format!("{name}: {e}"),
            })
        };
        let farm = id("farm", self.farm)?;
        let own = id("id", self.id)?;
        let doc: DocName = self.doc.parse()?;
        if let (Some(at), Some(due)) = (self.at, moment(own)) {
            let said: Option<Instant> = at.parse().ok();
            if said.map(|at| at.to_string()).as_ref() != Some(&due) {
                return Err(format!("at {at:?} is not allowed; the id says {due}"));
            }
        }
        Ok((farm, doc, own))
    }
}

/// Whether a file looks like one of records: JSON Lines, or a table with the headings of one.
pub fn is_records(bytes: &[u8]) -> bool {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let needed = ["farm", "doc", "id", "kind"];
    match text.iter().find(|b| !b.is_ascii_whitespace()) {
        Some(b'{') => true,
        _ => Table::open(bytes, &needed)
            .is_ok_and(|table| needed.iter().all(|name| table.column(name).is_some())),
    }
}
