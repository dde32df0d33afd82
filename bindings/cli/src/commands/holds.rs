use pointdown_core::farm::{Farm, Filter, Row};
use pointdown_core::record::{Body, Hold, Id, Kind, Lot, Record};
use serde_json::Value;

use crate::fail::Failure;

/// A lot of a record that someone put on hold.
pub(crate) struct Held {
    pub(crate) lot: Lot,
    pub(crate) hold: Id,
    pub(crate) cause: String,
}

/// Lots that this record packs or lets go although a hold covers them.
pub(crate) fn held(farm: &Farm, row: &Row) -> Result<Vec<Held>, Failure> {
    let leaves = match row.kind.as_str() {
        "carton" => true,
        "out" => row.fields.get("way").and_then(Value::as_str) != Some("returned"),
        _ => false,
    };
    let parts = row.fields.get("parts").and_then(Value::as_object);
    let Some(parts) = parts.filter(|_| leaves) else {
        return Ok(Vec::new());
    };
    let holds = farm.list(&Filter {
        kind: Some(Kind::Hold),
        ..Filter::default()
    })?;
    let mut found = Vec::new();
    for lot in parts.keys().filter_map(|lot| lot.parse::<Lot>().ok()) {
        for row in &holds {
            let record = Record::read(row.id, &row.fields).ok();
            let Some(Body::Hold(hold)) = record.map(|record| record.body) else {
                continue;
            };
            if covers(farm, &hold, &lot)? {
                found.push(Held {
                    lot,
                    hold: row.id,
                    cause: hold.cause,
                });
            }
        }
    }
    Ok(found)
}

/// Whether eggs of a lot may be under a hold. A lot of several coops is, when one of them is.
fn covers(farm: &Farm, hold: &Hold, lot: &Lot) -> Result<bool, Failure> {
    let days = hold.from <= lot.day && hold.until.is_none_or(|until| lot.day <= until);
    let species = hold.species.is_none_or(|species| species == lot.species);
    if !(days && species) {
        return Ok(false);
    }
    let Some(coop) = hold.coop else {
        return Ok(true);
    };
    if let Some(apart) = lot.coop {
        return Ok(apart == coop);
    }
    let day = farm.sheet(lot.day, lot.day)?;
    Ok(day.gathered.by_coop.iter().any(|row| {
        (row.coop, row.species) == (coop, lot.species) && row.eggs.is_some_and(|eggs| eggs > 0)
    }))
}
