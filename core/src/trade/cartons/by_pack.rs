//! From a rule pack and a house policy to the limits of a plan.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::layout::PLACING;
use super::plan::{Plan, plan_within};
use super::sort::check;
use super::types::{Capacities, ClassLimits, Egg, Freshness, Terms};
use crate::trade::dates::FromDay;
use crate::trade::error::TradeError;
use crate::trade::finding::{Finding, Mark, Reason};
use crate::trade::rules::{HousePolicy, RulePack};
use crate::trade::size::SizeScheme;
use crate::trade::species::Species;
use crate::trade::units::Grams;

/// The classes of a scheme as limits of cartons, heaviest first; for a species that the scheme is
/// not for, and without a scheme, one group by count, with no class to print.
///
/// A class with a minimum for single eggs has its own minimum on the dozen; a class without goes by
/// single eggs alone.
pub fn classes(scheme: Option<&SizeScheme>, species: Species) -> Vec<ClassLimits> {
    let Some(scheme) = scheme.filter(|scheme| scheme.species.contains(&species)) else {
        let name = format!("{} eggs by count", species.code());
        return vec![ClassLimits::by_count(name, Some(species))];
    };
    let limits = |class: &crate::trade::size::SizeClass| ClassLimits {
        name: class.name.clone(),
        code: Some(class.code.clone()),
        species: Some(species),
        single_min: Some(class.single_min.unwrap_or(class.min)),
        single_below: scheme.below(class),
        net_per_dozen: class.single_min.map(|_| Grams(class.min.0 * 12.0)),
    };
    scheme.classes.value.iter().map(limits).collect()
}

/// Packs eggs on a day under a rule pack and the house policy, each species by itself: its weight
/// classes where the pack has any for it, by count where not; no egg past the pack's age for packing
/// (for the species that the pack grades) or past a best-by or delivery that runs from laying; no
/// carton with lay days further apart than the house allows.
///
/// With `step_down` eggs that a class leaves over are offered to the next lighter one, where the
/// scheme lets heavier eggs stand there; where it does not, the option changes nothing.
///
/// ```
/// use chrono::NaiveDate;
/// use pointdown_core::trade::Species;
/// use pointdown_core::trade::cartons::{Capacities, Egg, plan_by_pack};
/// use pointdown_core::trade::rules::{HousePolicy, RulePack};
/// use pointdown_core::trade::units::Grams;
///
/// let today = NaiveDate::from_ymd_opt(2026, 3, 2);
/// let egg = |tag| Egg { tag, species: Species::Hen, weight: Grams(55.0), lay_day: today };
/// let eggs: Vec<Egg> = (0..12).map(egg).collect();
/// let (pack, house) = (RulePack::us_federal(), HousePolicy::default());
/// let sizes = Capacities::new(&[12])?;
/// let found = plan_by_pack(&eggs, &sizes, today.unwrap_or_default(), true, &pack, &house)?;
/// // Each could stand in a dozen of Large beside heavier eggs; alone they make a dozen of Medium.
/// let made = found.value.groups.iter().find(|group| !group.cartons.is_empty());
/// assert_eq!(made.map(|group| group.class.as_str()), Some("Medium"));
/// # Ok::<(), pointdown_core::trade::TradeError>(())
/// ```
///
/// # Errors
/// [`TradeError::Cartons`] for eggs that cannot be.
pub fn plan_by_pack(
    eggs: &[Egg],
    capacities: &Capacities,
    pack_day: NaiveDate,
    step_down: bool,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Finding<Plan>, TradeError> {
    let mut by_species: BTreeMap<Species, Vec<Egg>> = BTreeMap::new();
    for egg in eggs {
        by_species.entry(egg.species).or_default().push(egg.clone());
    }
    let all: Vec<ClassLimits> = Species::ALL
        .into_iter()
        .flat_map(|species| classes(pack.sizes.as_ref(), species))
        .collect();
    let any_age = Freshness {
        pack_day,
        max_age_days: u32::MAX,
    };
    // Over all species: a tag may stand on one egg only, and no egg is from the future.
    check(eggs, &all, Some(any_age))?;
    let mut whole = Plan {
        groups: Vec::new(),
        left_over: Vec::new(),
    };
    let mut why = vec![Reason::common_practice(format!(
        "One carton holds one species; each egg stands {PLACING}."
    ))];
    for (species, eggs) in by_species {
        let scheme = pack.sizes.as_ref();
        let limits = classes(scheme, species);
        why.push(of_classes(pack, species));
        let freshness = freshness(pack, species, pack_day, &mut why);
        let stepping = step_down && limits.len() > 1;
        if let (true, Some(rule)) = (stepping, scheme.and_then(|s| s.heavier_allowed.as_ref())) {
            why.push(rule.reason(if rule.value {
                "What a class leaves over may stand in a lighter class"
            } else {
                "What a class leaves over may not stand in a lighter class"
            }));
        }
        let terms = Terms {
            freshness,
            ages_apart_max: house.ages_apart_max_days,
            step_down: stepping,
        };
        let plan = plan_within(&eggs, &limits, capacities, &terms)?;
        whole.groups.extend(plan.groups);
        whole.left_over.extend(plan.left_over);
    }
    if let Some(days) = house.ages_apart_max_days {
        let words = format!("Lay days in one carton are at most {days} days apart");
        why.push(Reason::new(words, "house policy", Mark::House));
    }
    whole.left_over.sort_by_key(|left| left.tag);
    // Whether one species is named twice depends on the eggs, not on their order.
    let mut named = BTreeSet::new();
    why.retain(|reason| named.insert((reason.rule.clone(), reason.source.clone())));
    let caution = format!(
        "{} Eggs grow lighter as they age and scales differ: a carton just at its minimum can fall \
         under it.",
        pack.caution
    );
    Ok(Finding::because(whole, why, caution))
}

fn of_classes(pack: &RulePack, species: Species) -> Reason {
    match &pack.sizes {
        Some(scheme) if scheme.species.contains(&species) => scheme.classes.reason(format!(
            "{}: each egg and each carton is held to the limits of its class",
            scheme.name
        )),
        Some(scheme) => scheme.classes.reason(format!(
            "{} has no classes for {} eggs: by count, without a class",
            scheme.name,
            species.code()
        )),
        None => Reason::common_practice(format!(
            "{} has no weight classes: by count, without a class",
            pack.name
        )),
    }
}

/// The shortest of the limits that run from laying, each with its reason.
fn freshness(
    pack: &RulePack,
    species: Species,
    pack_day: NaiveDate,
    why: &mut Vec<Reason>,
) -> Option<Freshness> {
    let dates = &pack.dates;
    let packing = dates
        .pack_within
        .as_ref()
        .filter(|_| pack.grades_species(species));
    let rules = [
        (packing, "Packed"),
        (dates.best_by.as_ref(), "Best by"),
        (dates.deliver_within.as_ref(), "Delivered to the consumer"),
    ];
    let from_laying = rules
        .into_iter()
        .filter_map(|(rule, what)| Some((rule?, what)))
        .filter(|(rule, _)| rule.value.from == FromDay::Lay)
        .min_by_key(|(rule, _)| rule.value.days_after());
    from_laying.map(|(rule, what)| {
        why.push(rule.reason(rule.value.words(what)));
        Freshness {
            pack_day,
            max_age_days: rule.value.days_after(),
        }
    })
}
