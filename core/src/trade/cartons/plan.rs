//! From eggs to cartons with places and reasons.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::ages::spans;
use super::fill::fill;
use super::layout::{Cell, Layout};
use super::score::{Net, picograms};
use super::sort::{check, minimum, place, takes};
use super::types::{
    Capacities, CartonError, ClassLimits, Egg, Freshness, LeftOver, LeftOverReason, Measure, Proof,
    Terms,
};
use crate::trade::Species;
use crate::trade::units::Grams;

/// An egg in its cell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Placed {
    /// The egg.
    pub tag: u64,
    /// Its weight.
    pub weight: Grams,
    /// Where it stands, pointed end down.
    pub cell: Cell,
}

/// One full carton.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Carton {
    /// Eggs in it.
    pub capacity: u16,
    /// The eggs in the order in which to set them.
    pub eggs: Vec<Placed>,
    /// What they weigh together.
    pub net: Grams,
    /// Heaviest less lightest.
    pub range: Grams,
    /// The lay day of the oldest egg whose day is known; it sets the carton's dates.
    pub oldest: Option<NaiveDate>,
    /// The carton in words.
    pub why: String,
}

/// The cartons of one species and class, and of one span of lay days where ages are kept together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// The species of every egg in it.
    pub species: Species,
    /// The class's name.
    pub class: String,
    /// The class's word for records and labels; `None` where there is no class to print.
    pub code: Option<String>,
    /// The first and the last lay day of the eggs offered, where ages are kept together.
    pub laid: Option<(NaiveDate, NaiveDate)>,
    /// The cartons, the lightest egg's first.
    pub cartons: Vec<Carton>,
    /// How good the packing is.
    pub measure: Measure,
    /// How sure it is that none is better.
    pub proof: Proof,
    /// The packing in words.
    pub why: String,
}

/// Every egg once: in a carton, or left over with a reason.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// By species, within one by class, the heaviest first, and within that by lay days, the oldest
    /// first. Groups with no carton are kept.
    pub groups: Vec<Group>,
    /// By tag.
    pub left_over: Vec<LeftOver>,
}

/// Packs eggs: each goes to the highest class that it meets, and each species and class fills
/// cartons of its own, as well as the [module](super) says.
///
/// The result depends on the eggs, not on their order. Weights settle everything; between eggs of
/// one weight the lower tag counts as lighter.
///
/// # Errors
/// A [`CartonError`] that names the field, the value and what is allowed.
pub fn plan(
    eggs: &[Egg],
    classes: &[ClassLimits],
    capacities: &Capacities,
    freshness: Option<Freshness>,
) -> Result<Plan, CartonError> {
    let terms = Terms {
        freshness,
        ..Terms::default()
    };
    plan_within(eggs, classes, capacities, &terms)
}

/// As [`plan`], within the terms given. With `step_down` the heavier class is packed first, as if
/// there were no other, and what it leaves over is offered to the next lighter class that takes it;
/// with `ages_apart_max` each span of lay days is packed by itself. The proof is then of each group
/// by itself, not of the whole.
///
/// # Errors
/// As for [`plan`].
pub fn plan_within(
    eggs: &[Egg],
    classes: &[ClassLimits],
    capacities: &Capacities,
    terms: &Terms,
) -> Result<Plan, CartonError> {
    check(eggs, classes, terms.freshness)?;
    let mut classes: Vec<&ClassLimits> = classes.iter().collect();
    // Stable: equal minima keep the caller's order.
    classes.sort_by(|a, b| minimum(b).total_cmp(&minimum(a)));
    let mut waiting: BTreeMap<(Species, usize), Vec<&Egg>> = BTreeMap::new();
    let (mut groups, mut left_over) = (Vec::new(), Vec::new());
    for egg in eggs {
        match place(egg, &classes, terms) {
            Ok(class) => waiting.entry((egg.species, class)).or_default().push(egg),
            Err(left) => left_over.push(left),
        }
    }
    // Heavier classes come first, so what they leave over joins a class that still waits.
    while let Some(((species, class), eggs)) = waiting.pop_first() {
        for (laid, mut eggs) in spans(eggs, capacities, terms.ages_apart_max) {
            eggs.sort_by(|a, b| a.weight.0.total_cmp(&b.weight.0).then(a.tag.cmp(&b.tag)));
            let (group, left) = pack(species, classes[class], &eggs, laid, capacities);
            groups.push(group);
            for (egg, left) in left {
                let lighter =
                    (class + 1..classes.len()).find(|&i| terms.step_down && takes(classes[i], egg));
                match lighter {
                    Some(i) => waiting.entry((species, i)).or_default().push(egg),
                    None => left_over.push(left),
                }
            }
        }
    }
    left_over.sort_by_key(|left| left.tag);
    Ok(Plan { groups, left_over })
}

/// Fills cartons from the eggs of one species and class, sorted by weight.
fn pack<'a>(
    species: Species,
    class: &ClassLimits,
    eggs: &[&'a Egg],
    laid: Option<(NaiveDate, NaiveDate)>,
    capacities: &Capacities,
) -> (Group, Vec<(&'a Egg, LeftOver)>) {
    let weights: Vec<i64> = eggs.iter().map(|egg| picograms(egg.weight)).collect();
    let filling = fill(
        &weights,
        capacities,
        Net(class.net_per_dozen.map(picograms)),
    );
    let mut packed = vec![false; eggs.len()];
    let mut cartons = Vec::with_capacity(filling.cartons.len());
    let mut ordered = filling.cartons;
    ordered.sort();
    for carton in &ordered {
        for &i in carton {
            packed[i] = true;
        }
        let eggs: Vec<&Egg> = carton.iter().map(|&i| eggs[i]).collect();
        cartons.push(one_carton(&eggs, species, class));
    }
    let left: Vec<usize> = (0..eggs.len()).filter(|&i| !packed[i]).collect();
    // What the count alone leaves over is not the net weight's doing; of the others the lightest are.
    let by_net = left.len() - filling.rest;
    let left = left.into_iter().enumerate().map(|(nth, i)| {
        let (reason, why) = if nth < by_net {
            let dozen = class.net_per_dozen.map_or(0.0, |g| g.0);
            let why = format!(
                "one more carton with it would fall below {dozen:.1} g a dozen, the net weight of {}",
                class.name
            );
            (LeftOverReason::NetWeight, why)
        } else {
            let why = format!(
                "not enough eggs of {}{} remain for one more carton",
                class.name,
                laid_words(laid)
            );
            (LeftOverReason::NotEnough, why)
        };
        let left = LeftOver {
            tag: eggs[i].tag,
            reason,
            class: Some(class.name.clone()),
            why,
        };
        (eggs[i], left)
    });
    let left: Vec<(&Egg, LeftOver)> = left.collect();
    let measure = filling.score.measure();
    let sure = match filling.proof {
        Proof::Runs => "no other way is better: neighbours in weight stand together".to_owned(),
        Proof::Searched => "no other way is better: all were tried".to_owned(),
        Proof::Bound {
            most_eggs,
            least_range,
            ..
        } => format!(
            "light eggs stand beside heavy ones to reach the net weight; no way packs more than \
             {most_eggs} eggs, and with {} eggs the widest carton is never under {:.1} g",
            measure.packed, least_range.0
        ),
    };
    let why = format!(
        "{} of {} {} eggs in {} cartons, class {}{}; widest carton {:.1} g from lightest to heaviest, \
         {:.1} g in all; {sure}",
        measure.packed,
        eggs.len(),
        species.code(),
        measure.cartons,
        class.name,
        laid_words(laid),
        measure.largest_range.0,
        measure.total_range.0,
    );
    let group = Group {
        species,
        class: class.name.clone(),
        code: class.code.clone(),
        laid,
        cartons,
        measure,
        proof: filling.proof,
        why,
    };
    (group, left)
}

fn laid_words(laid: Option<(NaiveDate, NaiveDate)>) -> String {
    laid.map_or_else(String::new, |(first, last)| {
        format!(", laid {first} to {last}")
    })
}

/// Sets the eggs of one carton, given in order of weight, into their cells.
fn one_carton(eggs: &[&Egg], species: Species, class: &ClassLimits) -> Carton {
    let capacity = eggs.len() as u16;
    let net = Grams(eggs.iter().map(|egg| egg.weight.0).sum());
    let (lightest, heaviest) = (eggs[0].weight.0, eggs[eggs.len() - 1].weight.0);
    let placed = eggs
        .iter()
        .rev()
        .zip(Layout::of(capacity).order())
        .map(|(egg, cell)| Placed {
            tag: egg.tag,
            weight: egg.weight,
            cell,
        });
    let floor = match class.net_per_dozen {
        Some(dozen) => format!(
            "; the class asks for {:.1} g",
            dozen.0 * f64::from(capacity) / 12.0
        ),
        None => String::new(),
    };
    Carton {
        capacity,
        eggs: placed.collect(),
        net,
        range: Grams(heaviest - lightest),
        oldest: eggs.iter().filter_map(|egg| egg.lay_day).min(),
        why: format!(
            "{capacity} {} eggs of {lightest:.1} to {heaviest:.1} g, net {:.1} g{floor}",
            species.code(),
            net.0
        ),
    }
}
