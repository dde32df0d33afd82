//! Files of records, read.

use serde_json::Value;

use super::columns::{RAW, columns};
use super::records::{field, from_cell, moment, word};
use super::table::{LARGEST, Table, TableRow};
use super::{FileRecord, FileRecords, RowError, Stored};
use crate::record::{DocName, Fields, Id, Instant, InvalidRecord, Kind, Record, decode, encode};

/// Reads a file of records: CSV with the headings of [`columns()`], in any order, or JSON Lines.
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
