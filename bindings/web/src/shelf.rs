//! Carton runs that still stand on the shelf.

use std::collections::BTreeMap;

use chrono::Days;
use pointdown_core::farm::{Farm, FarmError, Filter, Row};
use pointdown_core::record::{Body, Id, Kind, Lot, Parts, Record};
use pointdown_core::trade::dates::{LastDay, last_day};
use serde_json::{Value, json};

use crate::home::setting;

/// How far back runs are looked for, in days: far longer than any rule lets an egg be sold.
const BACK: u64 = 120;

/// Every run with cartons left: how many, of what, since when and until when.
pub(crate) fn shelf(farm: &Farm) -> Result<Value, FarmError> {
    let today = farm.today()?;
    let setting = setting(farm)?;
    let from = today.checked_sub_days(Days::new(BACK));
    let bodies = |kind| -> Result<Vec<(Row, Body)>, FarmError> {
        let rows = farm.list(&Filter {
            kind: Some(kind),
            from,
            ..Filter::default()
        })?;
        Ok(rows
            .into_iter()
            .filter_map(|row| {
                let body = Record::read(row.id, &row.fields).ok()?.body;
                Some((row, body))
            })
            .collect())
    };
    // What left each run, or came back to it, by lot.
    let mut left: BTreeMap<Id, BTreeMap<Lot, i64>> = BTreeMap::new();
    let mut leave = |run: Id, parts: &Parts, sign: i64| {
        let lots = left.entry(run).or_default();
        for (lot, n) in &parts.0 {
            *lots.entry(*lot).or_default() += sign * i64::from(*n);
        }
    };
    for (_, body) in bodies(Kind::Out)? {
        if let Body::Out(out) = body
            && let Some(run) = out.carton
        {
            leave(run, &out.parts, if out.way == "returned" { -1 } else { 1 });
        }
    }
    for (_, body) in bodies(Kind::Cull)? {
        if let Body::Cull(cull) = body
            && let Some(run) = cull.carton
        {
            leave(run, &cull.parts, 1);
        }
    }
    let mut runs = Vec::new();
    for (row, body) in bodies(Kind::Carton)? {
        let Body::Carton(run) = body else { continue };
        let gone = left.remove(&row.id).unwrap_or_default();
        let parts: BTreeMap<Lot, i64> = run
            .parts
            .0
            .iter()
            .map(|(lot, n)| (*lot, i64::from(*n) - gone.get(lot).copied().unwrap_or(0)))
            .filter(|(_, n)| *n > 0)
            .collect();
        // A carton from which an egg was pulled is not a full one.
        let eggs: i64 = parts.values().sum();
        let cartons = eggs / i64::from(run.eggs_per_carton.max(1));
        if cartons <= 0 {
            continue;
        }
        let oldest = run.parts.0.keys().map(|lot| lot.day).min();
        let due = match (run.best_by, &setting.pack, oldest) {
            (Some(day), _, _) => Some(day),
            (None, Some(pack), Some(oldest)) if oldest <= run.packed => {
                last_day(LastDay::BestBy, run.packed, oldest, pack, &setting.house)
                    .ok()
                    .and_then(|found| found.value)
            }
            _ => None,
        };
        runs.push(json!({
            "id": row.id,
            "species": run.species,
            "size": run.size,
            "eggs_per_carton": run.eggs_per_carton,
            "cartons": cartons,
            "packed": run.packed,
            "due": due,
            "days_left": due.map(|day| (day - today).num_days()),
            "parts": parts,
            "code": run.code,
        }));
    }
    // What is due first stands first; the oldest run first where nothing is due.
    runs.sort_by_key(|run| {
        (
            run["due"].as_str().unwrap_or("9").to_owned(),
            run["packed"].to_string(),
        )
    });
    Ok(json!(runs))
}
