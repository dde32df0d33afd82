//! What stands where, what is due, and what to take: the core's own answers, with what the screens
//! draw beside them.

use std::collections::BTreeMap;

use pointdown_core::book::due::What;
use pointdown_core::book::{Place, due};
use pointdown_core::farm::{CountOf, ErrorKind, Farm, FarmError};
use pointdown_core::record::{Body, Id, Lot, Record, Station};
use pointdown_core::trade::Species;
use serde::Deserialize;
use serde_json::{Value, json};

/// The list of what is due, each reason once, and the cartons on the shelf.
pub(crate) fn now(farm: &Farm) -> Result<Value, FarmError> {
    let now = farm.now()?;
    let reasons = now.reasons();
    let mut runs = Vec::new();
    for stands in &now.here {
        let Some(id) = stands.run else { continue };
        let Some(row) = farm.record(id)? else {
            continue;
        };
        let Ok(record) = Record::read(row.id, &row.fields) else {
            continue;
        };
        let Body::Carton(carton) = record.body else {
            continue;
        };
        // The earliest day that the list names for them.
        let last = now
            .due
            .iter()
            .find(|line| line.run == Some(id) && matches!(line.what, What::Sell | What::BestBy));
        let zone = farm.zone()?;
        let day = last.and_then(|line| Some(zone.day(line.due?.plus_ms(-1))));
        let each = i64::from(carton.eggs_per_carton.max(1));
        runs.push(json!({
            "id": id,
            "species": carton.species,
            "size": carton.size,
            "eggs_per_carton": carton.eggs_per_carton,
            "cartons": stands.eggs / each,
            "loose": stands.eggs % each,
            "packed": carton.packed,
            "code": stands.code,
            "held": stands.held,
            "what": last.map(|line| line.what),
            "due": day,
            "days_left": day.map(|day| (day - zone.day(now.at)).num_days()),
        }));
    }
    Ok(json!({
        "at": now.at,
        "rules": now.rules,
        "here": now.here,
        "due": now.due,
        "reasons": reasons.all,
        "of": reasons.of,
        "cautions": now.cautions(),
        "runs": runs,
    }))
}

/// Which eggs to take.
#[derive(Deserialize)]
pub(crate) struct Take {
    station: Station,
    species: Species,
    eggs: Option<u32>,
    /// Held eggs too: somebody says what was really done with them.
    #[serde(default)]
    held: bool,
}

/// The oldest eggs of a station first, with what is not to be touched. `parts` are for a record.
pub(crate) fn suggest(farm: &Farm, take: &Take) -> Result<Value, FarmError> {
    let here = if take.held {
        let mut here = farm.now()?.here;
        for stands in &mut here {
            stands.held = None;
        }
        here
    } else {
        farm.now()?.here
    };
    let found = due::suggest(&here, Place::from(take.station), take.species, take.eggs);
    let mut parts: BTreeMap<Lot, i64> = BTreeMap::new();
    for one in &found.take {
        if let Some(lot) = one.lot {
            *parts.entry(lot).or_default() += one.eggs;
        }
    }
    let held: i64 = found.not_to_touch.iter().map(|not| not.eggs).sum();
    Ok(json!({
        "parts": parts,
        "eggs": found.eggs,
        "short": found.short,
        "held": held,
        "not_to_touch": found.not_to_touch,
        "why": found.why,
    }))
}

/// So many cartons of a run.
#[derive(Deserialize)]
pub(crate) struct OfRun {
    run: Id,
    cartons: u32,
}

/// The eggs of so many cartons of a run.
pub(crate) fn of_run(farm: &Farm, asked: &OfRun) -> Result<Value, FarmError> {
    Ok(json!(farm.of_run(asked.run, asked.cartons)?))
}

/// A station counted over.
#[derive(Deserialize)]
pub(crate) struct Stocktake {
    station: Station,
    counts: Vec<Count>,
}

#[derive(Deserialize)]
struct Count {
    lot: Option<Lot>,
    species: Option<Species>,
    counted: u32,
}

/// Logs what was counted, and says what differs from the book.
pub(crate) fn stocktake(farm: &Farm, done: &Stocktake) -> Result<Value, FarmError> {
    let count = |count: &Count| {
        let of = match (count.lot, count.species) {
            (Some(lot), None) => CountOf::Lot(lot),
            (None, Some(species)) => CountOf::Species(species),
            _ => {
                let message = "a count is of a lot or of a species";
                return Err(FarmError::new(ErrorKind::Invalid, message));
            }
        };
        Ok((of, count.counted))
    };
    let counts = done.counts.iter().map(count);
    let counts = counts.collect::<Result<Vec<_>, _>>()?;
    Ok(json!(farm.stocktake(done.station, &counts, None)?))
}
