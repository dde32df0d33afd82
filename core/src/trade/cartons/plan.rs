//! From eggs to cartons with places and reasons.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::count::MOST_EGGS;
use super::fill::{Net, fill, picograms};
use super::layout::{Cell, Layout};
use super::types::{Capacities, CartonError, ClassLimits, Egg, Freshness, Measure, Proof, Reason};
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

/// The cartons of one species and class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// The species of every egg in it.
    pub species: Species,
    /// The class's name.
    pub class: String,
    /// The cartons, the lightest egg's first.
    pub cartons: Vec<Carton>,
    /// How good the packing is.
    pub measure: Measure,
    /// How sure it is that none is better.
    pub proof: Proof,
    /// The packing in words.
    pub why: String,
}

/// An egg that is in no carton.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeftOver {
    /// The egg.
    pub tag: u64,
    /// Why.
    pub reason: Reason,
    /// The class it was tried in, if it met one.
    pub class: Option<String>,
    /// Why, in words.
    pub why: String,
}

/// Every egg once: in a carton, or left over with a reason.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// By species, and within one by class, the heaviest first. Groups with no carton are kept.
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
    check(eggs, classes, freshness)?;
    let mut classes: Vec<&ClassLimits> = classes.iter().collect();
    // Stable: equal minima keep the caller's order.
    classes.sort_by(|a, b| minimum(b).total_cmp(&minimum(a)));
    let mut groups: BTreeMap<(Species, usize), Vec<&Egg>> = BTreeMap::new();
    let mut left_over = Vec::new();
    for egg in eggs {
        match place(egg, &classes, freshness) {
            Ok(class) => groups.entry((egg.species, class)).or_default().push(egg),
            Err(left) => left_over.push(left),
        }
    }
    let groups = groups
        .into_iter()
        .map(|((species, class), mut eggs)| {
            eggs.sort_by(|a, b| a.weight.0.total_cmp(&b.weight.0).then(a.tag.cmp(&b.tag)));
            let (group, left) = pack(species, classes[class], &eggs, capacities);
            left_over.extend(left);
            group
        })
        .collect();
    left_over.sort_by_key(|left| left.tag);
    Ok(Plan { groups, left_over })
}

fn minimum(class: &ClassLimits) -> f64 {
    class.single_min.map_or(0.0, |grams| grams.0)
}

fn check(
    eggs: &[Egg],
    classes: &[ClassLimits],
    freshness: Option<Freshness>,
) -> Result<(), CartonError> {
    if eggs.len() > MOST_EGGS {
        return Err(CartonError::TooMany {
            value: eggs.len(),
            allowed: MOST_EGGS,
        });
    }
    if classes.is_empty() {
        return Err(CartonError::NoClass);
    }
    for class in classes {
        let fields = [
            ("single_min", class.single_min, 1000.0, "0 to 1000 g"),
            (
                "single_below",
                class.single_below,
                1000.0,
                "more than single_min, up to 1000 g",
            ),
            (
                "net_per_dozen",
                class.net_per_dozen,
                12_000.0,
                "0 to 12000 g",
            ),
        ];
        for (field, value, most, allowed) in fields {
            let low = if field == "single_below" {
                minimum(class)
            } else {
                -1.0
            };
            if let Some(Grams(value)) = value
                && !(value > low && (0.0..=most).contains(&value))
            {
                return Err(CartonError::Limit {
                    class: class.name.clone(),
                    field,
                    value,
                    allowed,
                });
            }
        }
    }
    let mut tags: Vec<u64> = eggs.iter().map(|egg| egg.tag).collect();
    tags.sort_unstable();
    if let Some(twice) = tags.windows(2).find(|pair| pair[0] == pair[1]) {
        return Err(CartonError::Tag { tag: twice[0] });
    }
    for egg in eggs {
        let value = egg.weight.0;
        if !(value > 0.0 && value <= 1000.0) {
            return Err(CartonError::Weight {
                tag: egg.tag,
                value,
            });
        }
        if let (Some(lay_day), Some(Freshness { pack_day, .. })) = (egg.lay_day, freshness)
            && lay_day > pack_day
        {
            return Err(CartonError::LayDay {
                tag: egg.tag,
                lay_day,
                pack_day,
            });
        }
    }
    Ok(())
}

/// The class for an egg, as an index, or why there is none. Classes come heaviest first.
fn place(
    egg: &Egg,
    classes: &[&ClassLimits],
    freshness: Option<Freshness>,
) -> Result<usize, LeftOver> {
    let left = |reason, why| {
        Err(LeftOver {
            tag: egg.tag,
            reason,
            class: None,
            why,
        })
    };
    if let Some(Freshness {
        pack_day,
        max_age_days,
    }) = freshness
    {
        let Some(lay_day) = egg.lay_day else {
            let why = format!("the lay day is not known and the age limit is {max_age_days} days");
            return left(Reason::UnknownAge, why);
        };
        let age = (pack_day - lay_day).num_days();
        if age > i64::from(max_age_days) {
            let why = format!("laid {lay_day}, {age} days before packing; limit {max_age_days}");
            return left(Reason::TooOld, why);
        }
    }
    let weight = picograms(egg.weight);
    let mut lightest: Option<&ClassLimits> = None;
    let mut reached = None;
    for (i, class) in classes.iter().enumerate() {
        if class.species.is_some_and(|species| species != egg.species) {
            continue;
        }
        lightest = Some(class);
        if class
            .single_min
            .is_some_and(|least| weight < picograms(least))
        {
            continue;
        }
        if class
            .single_below
            .is_none_or(|limit| weight < picograms(limit))
        {
            return Ok(i);
        }
        reached = reached.or(Some(class));
    }
    match (lightest, reached) {
        (None, _) => {
            let why = format!("no class given is for {} eggs", egg.species.code());
            left(Reason::NoClass, why)
        }
        (_, Some(class)) => {
            let why = format!(
                "{:.1} g; {} takes eggs under {:.1} g",
                egg.weight.0,
                class.name,
                class.single_below.map_or(0.0, |g| g.0)
            );
            left(Reason::TooHeavy, why)
        }
        (Some(class), None) => {
            let why = format!(
                "{:.1} g; {} takes single eggs from {:.2} g",
                egg.weight.0,
                class.name,
                minimum(class)
            );
            left(Reason::TooLight, why)
        }
    }
}

/// Fills cartons from the eggs of one species and class, sorted by weight.
fn pack(
    species: Species,
    class: &ClassLimits,
    eggs: &[&Egg],
    capacities: &Capacities,
) -> (Group, Vec<LeftOver>) {
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
            (Reason::NetWeight, why)
        } else {
            let why = format!("not enough eggs of {} remain for one more carton", class.name);
            (Reason::NotEnough, why)
        };
        LeftOver {
            tag: eggs[i].tag,
            reason,
            class: Some(class.name.clone()),
            why,
        }
    });
    let left: Vec<LeftOver> = left.collect();
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
        "{} of {} {} eggs in {} cartons, class {}; widest carton {:.1} g from lightest to heaviest, \
         {:.1} g in all; {sure}",
        measure.packed,
        eggs.len(),
        species.code(),
        measure.cartons,
        class.name,
        measure.largest_range.0,
        measure.total_range.0,
    );
    let group = Group {
        species,
        class: class.name.clone(),
        cartons,
        measure,
        proof: filling.proof,
        why,
    };
    (group, left)
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
