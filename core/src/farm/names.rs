use serde_json::Value;

use super::facade::Inner;
use super::{ErrorKind, FarmError};
use crate::record::{COMMON, FieldType, Fields, Id, InvalidRecord, Kind, spec};
use crate::store::{Filter, Row, Tx};

impl super::Farm {
    /// The set-up record of this kind and name (letter case aside), in use.
    pub fn find(&self, kind: Kind, name: &str) -> Result<Id, FarmError> {
        self.lock().store.read(|tx| find(tx, kind, name))
    }

    /// A record by its id, or by the first or last characters of it.
    pub fn find_record(&self, text: &str) -> Result<Id, FarmError> {
        let mut inner = self.lock();
        inner.find_record(text)
    }
}

impl Inner {
    pub(super) fn find_record(&mut self, text: &str) -> Result<Id, FarmError> {
        let nothing = || {
            FarmError::new(
                ErrorKind::NotFound,
                format!("there is no record {text:?} here"),
            )
        };
        self.store.read(|tx| {
            if let Ok(id) = text.parse::<Id>() {
                return if tx.has_record(None, id)? {
                    Ok(id)
                } else {
                    Err(nothing())
                };
            }
            if text.len() < 4 || !text.is_ascii() {
                return Err(nothing());
            }
            let found = tx.ids_like(text)?;
            match found.as_slice() {
                [] => Err(nothing()),
                [id] => Ok(*id),
                more => Err(FarmError::new(
                    ErrorKind::Ambiguous,
                    format!(
                        "{} records begin or end with {text:?}; give more of the id",
                        more.len()
                    ),
                )),
            }
        })
    }
}

pub(super) fn find(tx: &Tx<'_>, kind: Kind, name: &str) -> Result<Id, FarmError> {
    let wanted = name.trim().to_lowercase();
    let all = tx.records(&Filter {
        kind: Some(kind),
        ..Filter::default()
    })?;
    let in_use: Vec<&Row> = all
        .iter()
        .filter(|row| !row.fields.contains_key("retired"))
        .collect();
    let called = |row: &&&Row| {
        row.fields
            .get("name")
            .and_then(Value::as_str)
            .map(str::to_lowercase)
            .as_ref()
            == Some(&wanted)
    };
    let found: Vec<_> = in_use.iter().filter(called).collect();
    match found.as_slice() {
        [row] => Ok(row.id),
        [] => {
            let mut names: Vec<_> = in_use
                .iter()
                .filter_map(|row| row.fields.get("name").and_then(Value::as_str))
                .collect();
            names.sort_unstable();
            let allowed = if names.is_empty() {
                format!("the farm knows no {} yet; add one first", kind.code())
            } else {
                format!("allowed are {}", names.join(", "))
            };
            Err(InvalidRecord::new(kind.code(), format!("{name:?}"), allowed).into())
        }
        more => Err(FarmError::new(
            ErrorKind::Ambiguous,
            format!(
                "{} of the {}s are called {name:?}; give the id",
                more.len(),
                kind.code()
            ),
        )),
    }
}

/// Puts ids where a draft names coops, people and outlets by their names, and records by the ends
/// of their ids.
pub(super) fn resolve(tx: &Tx<'_>, kind: Kind, fields: &mut Fields) -> Result<(), FarmError> {
    for spec in spec(kind).iter().chain(COMMON) {
        let Some(Value::String(text)) = fields.get(spec.name) else {
            continue;
        };
        if text.parse::<Id>().is_ok() {
            continue;
        }
        let id = match spec.ty {
            FieldType::Ref(kind) if kind.is_setup() => match find(tx, kind, text) {
                // Name the field of the record, not only the kind.
                Err(FarmError {
                    invalid: Some(e), ..
                }) => {
                    return Err(InvalidRecord {
                        field: spec.name.into(),
                        ..e
                    }
                    .into());
                }
                found => found?,
            },
            FieldType::Ref(_) | FieldType::AnyRecord if text.len() >= 4 && text.is_ascii() => {
                match tx.ids_like(text)?.as_slice() {
                    [id] => *id,
                    _ => continue,
                }
            }
            _ => continue,
        };
        fields.insert(spec.name.into(), id.to_string().into());
    }
    Ok(())
}
