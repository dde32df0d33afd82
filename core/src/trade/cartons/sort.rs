//! Which eggs may be packed, and in which class.

use super::count::MOST_EGGS;
use super::score::picograms;
use super::types::{CartonError, ClassLimits, Egg, Freshness, LeftOver, LeftOverReason, Terms};
use crate::trade::units::Grams;

/// The least weight of a single egg.
pub(super) fn minimum(class: &ClassLimits) -> f64 {
    class.single_min.map_or(0.0, |grams| grams.0)
}

/// Refuses eggs and limits that cannot be.
pub(super) fn check(
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
pub(super) fn place(egg: &Egg, classes: &[&ClassLimits], terms: &Terms) -> Result<usize, LeftOver> {
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
    }) = terms.freshness
    {
        let Some(lay_day) = egg.lay_day else {
            let why = format!("the lay day is not known and the age limit is {max_age_days} days");
            return left(LeftOverReason::UnknownAge, why);
        };
        let age = (pack_day - lay_day).num_days();
        if age > i64::from(max_age_days) {
            let why = format!("laid {lay_day}, {age} days before packing; limit {max_age_days}");
            return left(LeftOverReason::TooOld, why);
        }
    }
    if let (None, Some(apart)) = (egg.lay_day, terms.ages_apart_max) {
        let why = format!("the lay day is not known and a carton's may be {apart} days apart");
        return left(LeftOverReason::UnknownAge, why);
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
        if takes(class, egg) {
            return Ok(i);
        }
        reached = reached.or(Some(class));
    }
    match (lightest, reached) {
        (None, _) => {
            let why = format!("no class given is for {} eggs", egg.species.code());
            left(LeftOverReason::NoClass, why)
        }
        (_, Some(class)) => {
            let why = format!(
                "{:.1} g; {} takes eggs under {:.1} g",
                egg.weight.0,
                class.name,
                class.single_below.map_or(0.0, |g| g.0)
            );
            left(LeftOverReason::TooHeavy, why)
        }
        (Some(class), None) => {
            let why = format!(
                "{:.1} g; {} takes single eggs from {:.2} g",
                egg.weight.0,
                class.name,
                minimum(class)
            );
            left(LeftOverReason::TooLight, why)
        }
    }
}

/// Whether the class is for the egg's species and weight.
pub(super) fn takes(class: &ClassLimits, egg: &Egg) -> bool {
    let weight = picograms(egg.weight);
    class.species.is_none_or(|species| species == egg.species)
        && class
            .single_min
            .is_none_or(|least| weight >= picograms(least))
        && class
            .single_below
            .is_none_or(|limit| weight < picograms(limit))
}
