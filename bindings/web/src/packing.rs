//! Weights and even cartons.

use chrono::NaiveDate;
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::record::Lot;
use pointdown_core::trade::Species;
use pointdown_core::trade::cartons::{Capacities, plan_count};
use pointdown_core::trade::dates::{LastDay, last_day};
use pointdown_core::trade::units::Grams;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::advice::said;
use crate::home::setting;

/// Eggs on the scale.
#[derive(Deserialize)]
pub(crate) struct Weights {
    species: Species,
    grams: Vec<f64>,
}

/// The class of each egg by itself, where the farm's rules have any for the species.
pub(crate) fn weights(farm: &Farm, asked: &Weights) -> Result<Value, FarmError> {
    let setting = setting(farm)?;
    let scheme = setting.pack.as_ref().and_then(|pack| pack.sizes.as_ref());
    let mut classes = Vec::new();
    for grams in &asked.grams {
        let class = match scheme {
            Some(scheme) => scheme
                .class_of_egg(asked.species, Grams(*grams))
                .map_err(said)?
                .value
                .map(|class| json!({ "code": class.code, "name": class.name })),
            None => None,
        };
        classes.push(class);
    }
    Ok(json!(classes))
}

/// Eggs to be packed.
#[derive(Deserialize)]
pub(crate) struct Fill {
    eggs: Vec<Weighed>,
    sizes: Vec<u16>,
}

#[derive(Deserialize)]
struct Weighed {
    lot: Lot,
    grams: f64,
}

/// The most even full cartons of one species each, with what is left over and why. Tags are places,
/// from 1.
pub(crate) fn fill(farm: &Farm, asked: &Fill) -> Result<Value, FarmError> {
    let eggs: Vec<(Lot, f64)> = asked.eggs.iter().map(|egg| (egg.lot, egg.grams)).collect();
    Ok(json!(farm.even_cartons_of(&eggs, &asked.sizes, true)?))
}

/// A run about to be packed.
#[derive(Deserialize)]
pub(crate) struct Label {
    lots: Vec<Lot>,
    packed: NaiveDate,
    eggs: usize,
    sizes: Vec<u16>,
}

/// The best-by, the code, and how the eggs divide into cartons where nobody weighs.
pub(crate) fn label(farm: &Farm, asked: &Label) -> Result<Value, FarmError> {
    let setting = setting(farm)?;
    let oldest = asked.lots.iter().min().copied();
    let due = match (&setting.pack, oldest) {
        (Some(pack), Some(lot)) => Some(
            last_day(LastDay::BestBy, asked.packed, lot.day, pack, &setting.house).map_err(said)?,
        ),
        _ => None,
    };
    let sizes = Capacities::new(&asked.sizes).map_err(|e| said(e.into()))?;
    let plan = plan_count(asked.eggs, &sizes).map_err(|e| said(e.into()))?;
    Ok(json!({
        "best_by": due.as_ref().and_then(|found| found.value),
        "why": due.as_ref().map(|found| &found.why),
        "caution": due.as_ref().map(|found| &found.caution),
        "code": oldest.map(|lot| lot.code()),
        "cartons": plan.cartons,
        "left_over": plan.left_over,
    }))
}
