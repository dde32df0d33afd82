//! Rows of the view as the types that they are made from.

use std::collections::BTreeMap;

use rusqlite::Row;

use super::StoreError;
use crate::book::Place;
use crate::record::{Fields, Id, Lot, Record};

/// The id that a column holds.
pub(super) fn id(text: &str) -> Result<Id, StoreError> {
    text.parse()
        .map_err(|_| StoreError::Damaged(format!("no id {text}")))
}

/// A record from its id and its fields as they stand; nothing where they cannot be read here.
pub(super) fn record(id: Id, fields: &str) -> Result<Option<Record>, StoreError> {
    let fields: Fields =
        serde_json::from_str(fields).map_err(|e| StoreError::Damaged(e.to_string()))?;
    Ok(Record::read(id, &fields).ok())
}

/// For queries of `id, fields`.
pub(super) fn id_and_fields(row: &Row<'_>) -> rusqlite::Result<(String, String)> {
    Ok((row.get(0)?, row.get(1)?))
}

/// The records of such a query that can be read here, in its order.
pub(super) fn records(
    rows: impl Iterator<Item = rusqlite::Result<(String, String)>>,
) -> Result<Vec<Record>, StoreError> {
    let mut all = Vec::new();
    for row in rows {
        let (text, fields) = row?;
        all.extend(record(id(&text)?, &fields)?);
    }
    Ok(all)
}

/// For queries of `place, lot, eggs`.
pub(super) fn place_lot_eggs(row: &Row<'_>) -> rusqlite::Result<(String, String, i64)> {
    Ok((row.get(0)?, row.get(1)?, row.get(2)?))
}

/// The balances of such a query, in its order.
pub(super) fn balances(
    rows: impl Iterator<Item = rusqlite::Result<(String, String, i64)>>,
) -> Result<Vec<(Place, Lot, i64)>, StoreError> {
    rows.map(|row| {
        let (place, lot, eggs) = row?;
        let place = Place::from_code(&place)
            .ok_or_else(|| StoreError::Damaged(format!("no place {place}")))?;
        Ok((place, lot.parse().map_err(StoreError::Damaged)?, eggs))
    })
    .collect()
}

/// Lots and eggs, for tables.
pub(super) type ByLot = BTreeMap<Lot, i64>;

/// For queries of `lot, eggs`.
pub(super) fn lot_and_eggs(row: &Row<'_>) -> rusqlite::Result<(String, i64)> {
    Ok((row.get(0)?, row.get(1)?))
}

/// The eggs of such a query by lot.
pub(super) fn by_lot(
    rows: impl Iterator<Item = rusqlite::Result<(String, i64)>>,
) -> Result<ByLot, StoreError> {
    rows.map(|row| {
        let (lot, eggs) = row?;
        Ok((lot.parse().map_err(StoreError::Damaged)?, eggs))
    })
    .collect()
}
