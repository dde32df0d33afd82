use serde::Serialize;

use crate::record::{COMMON, Kind, spec};

/// A column of a CSV file of records.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its heading.
    pub name: &'static str,
    /// The kinds of record that fill it; none for columns that every row fills.
    pub kinds: Vec<Kind>,
    /// Its meaning, with the unit.
    pub about: String,
}

/// Columns that say which record a row is.
const OWN: [(&str, &str); 5] = [
    ("farm", "the farm's id; a file of another farm is refused"),
    (
        "doc",
        "the document that holds the record: farm for set-up facts, else its UTC month",
    ),
    ("id", "the record's id, for ever the same"),
    (
        "at",
        "when it happened, in UTC, as first logged; it stands in the id too",
    ),
    ("kind", "the kind of record"),
];

/// The last column.
pub(super) const RAW: &str = "raw";

/// The columns of a CSV file with records of one kind, or of all, in their order.
pub fn columns(only: Option<Kind>) -> Vec<Column> {
    let own = OWN.iter().map(|(name, about)| Column {
        name,
        kinds: Vec::new(),
        about: (*about).to_string(),
    });
    let mut all: Vec<Column> = own.collect();
    all.extend(COMMON.iter().map(|field| Column {
        name: field.name,
        kinds: Vec::new(),
        about: field.about.to_string(),
    }));
    let kinds = Kind::ALL.iter().filter(|k| only.is_none_or(|o| o == **k));
    for kind in kinds {
        for field in spec(*kind) {
            match all.iter_mut().find(|column| column.name == field.name) {
                Some(column) => {
                    column.kinds.push(*kind);
                    if !column.about.split("; ").any(|said| said == field.about) {
                        column.about = format!("{}; {}", column.about, field.about);
                    }
                }
                None => all.push(Column {
                    name: field.name,
                    kinds: vec![*kind],
                    about: field.about.to_string(),
                }),
            }
        }
    }
    all.push(Column {
        name: RAW,
        kinds: Vec::new(),
        about: "the whole record as JSON, where the other cells cannot hold it exactly".into(),
    });
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_field_bears_the_name_of_an_own_column() {
        for kind in Kind::ALL {
            for field in spec(*kind).iter().chain(COMMON) {
                assert!(
                    OWN.iter().all(|(own, _)| *own != field.name),
                    "{}",
                    field.name
                );
                assert_ne!(field.name, RAW);
            }
        }
    }
}
