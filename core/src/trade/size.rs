//! Weight classes as data. A class belongs to the species that its rule names; eggs of any other
//! species are sold by count or by weight, without a class.

mod schemes;

pub use schemes::{australia, canada, eu, new_zealand, schemes, us};

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, LOCAL_CODES_DECIDE};
use super::rule::Rule;
use super::species::Species;
use super::units::Grams;

/// Sums of decimal grams are not exact in binary; a billionth of a gram is no egg.
const EPSILON: f64 = 1e-9;

/// One weight class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SizeClass {
    /// The word in records, for example `extra_large`.
    pub code: String,
    /// The word on the carton.
    pub name: String,
    /// The least average weight of an egg in a carton, or the least weight of each egg where the
    /// scheme goes by single eggs.
    pub min: Grams,
    /// The least weight of any one egg, where it is lower than `min`.
    pub single_min: Option<Grams>,
    /// The printed least net weight of a case of 30 dozen in pounds; it is rounded in print.
    pub case_pounds: Option<f64>,
}

/// How many eggs of a lot may be of another class.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SizeTolerance {
    /// The largest share of the lot in the next lower class.
    pub lower: f64,
    /// The largest share of one case in the next lower class.
    pub lower_in_case: Option<f64>,
    /// The largest share of the lot in both neighbouring classes together.
    pub neighbours: Option<f64>,
    /// Below this number of eggs the shares are doubled.
    pub doubled_below: Option<u32>,
}

/// A scheme of weight classes, heaviest first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SizeScheme {
    /// The word in records, for example `us`.
    pub code: String,
    /// The name that people read.
    pub name: String,
    /// The species that the scheme is for.
    pub species: Vec<Species>,
    /// The classes, heaviest first, with their source.
    pub classes: Rule<Vec<SizeClass>>,
    /// The tolerance of a lot.
    pub tolerance: Option<Rule<SizeTolerance>>,
    /// Whether an egg that is heavy enough for a heavier class may stand in a carton of a lighter
    /// one. True where the rule sets minimums only; where it is false or not known, the minimum of
    /// the class above is an upper bound for each egg.
    #[serde(default)]
    pub heavier_allowed: Option<Rule<bool>>,
}

/// A carton beside the minimums of a class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CartonWeight {
    /// The net weight.
    pub net: Grams,
    /// The net weight that the class needs for so many eggs.
    pub needed: Grams,
    /// Positions (from 0) of the eggs under the minimum for one egg.
    pub light: Vec<usize>,
    /// Positions (from 0) of the eggs that are of a heavier class, where the scheme does not let
    /// them stand in a lighter one.
    pub heavy: Vec<usize>,
    /// Whether the carton may carry the class.
    pub meets: bool,
}

/// The mass of an egg that a bird can lay, 1 to 500 g.
///
/// # Errors
/// [`TradeError::OutOfRange`] otherwise.
pub fn egg_mass(mass: Grams) -> Result<Grams, TradeError> {
    within("egg weight", mass.0, 1.0, 500.0, "g").map(Grams)
}

impl SizeScheme {
    /// Checks that the classes go down in weight.
    ///
    /// # Errors
    /// The first class that does not.
    pub fn validate(&self) -> Result<(), TradeError> {
        let mut above = 400.0;
        for class in &self.classes.value {
            within("size class: min", class.min.0, 0.0, above, "g")?;
            if let Some(single) = class.single_min {
                within("size class: single_min", single.0, 0.0, class.min.0, "g")?;
            }
            above = class.min.0;
        }
        if let Some(Rule { value, .. }) = &self.tolerance {
            within("size tolerance: lower", value.lower, 0.0, 1.0, "(share)")?;
            for share in [value.lower_in_case, value.neighbours]
                .into_iter()
                .flatten()
            {
                within("size tolerance", share, 0.0, 1.0, "(share)")?;
            }
        }
        Ok(())
    }

    /// The class with this word.
    pub fn class(&self, code: &str) -> Option<&SizeClass> {
        self.classes.value.iter().find(|c| c.code == code)
    }

    /// The weight that each egg of a class has to stay under: the minimum of the class above, unless
    /// the scheme lets heavier eggs stand in a lighter class or there is none above.
    pub fn below(&self, class: &SizeClass) -> Option<Grams> {
        if self.heavier_allowed.as_ref().is_some_and(|r| r.value) {
            return None;
        }
        let above = self.classes.value.iter().rev();
        above.map(|c| c.min).find(|min| min.0 > class.min.0)
    }

    /// The class of one egg on the scale: the heaviest whose minimum it reaches. `None` when the
    /// species has no classes or the egg is under the smallest.
    ///
    /// # Errors
    /// When no bird can lay an egg of that weight.
    pub fn class_of_egg(
        &self,
        species: Species,
        mass: Grams,
    ) -> Result<Finding<Option<SizeClass>>, TradeError> {
        egg_mass(mass)?;
        if let Some(refusal) = self.refuse(species) {
            return Ok(refusal);
        }
        let class = self
            .classes
            .value
            .iter()
            .find(|c| mass.0 >= c.min.0 - EPSILON);
        let words = match class {
            Some(c) => format!(
                "{}: at least {:.2} g; this egg is {} g",
                c.name, c.min.0, mass.0
            ),
            None => format!("{} g is under the smallest class", mass.0),
        };
        Ok(Finding::new(
            class.cloned(),
            self.classes.reason(words),
            LOCAL_CODES_DECIDE,
        ))
    }

    /// The heaviest class whose minimums a carton meets, by net weight and by each egg.
    ///
    /// # Errors
    /// When the carton is empty or no bird can lay one of the eggs.
    pub fn class_of_carton(
        &self,
        species: Species,
        eggs: &[Grams],
    ) -> Result<Finding<Option<SizeClass>>, TradeError> {
        if let Some(refusal) = self.refuse(species) {
            return Ok(refusal);
        }
        for class in &self.classes.value {
            let weight = self.carton(class, eggs)?;
            if weight.meets {
                let words = format!(
                    "{}: {} eggs weigh {:.1} g, needed {:.1} g, and each is within its limits",
                    class.name,
                    eggs.len(),
                    weight.net.0,
                    weight.needed.0
                );
                let reason = self.classes.reason(words);
                return Ok(Finding::new(
                    Some(class.clone()),
                    reason,
                    LOCAL_CODES_DECIDE,
                ));
            }
        }
        let reason = self.classes.reason(
            "The carton meets no class: an egg or the whole is too light, or sizes are mixed.",
        );
        Ok(Finding::new(None, reason, LOCAL_CODES_DECIDE))
    }

    /// A carton beside the minimums of one class.
    ///
    /// # Errors
    /// When the carton is empty or no bird can lay one of the eggs.
    pub fn carton(&self, class: &SizeClass, eggs: &[Grams]) -> Result<CartonWeight, TradeError> {
        if eggs.is_empty() {
            return Err(TradeError::not_allowed(
                "eggs in the carton",
                0,
                "at least 1",
            ));
        }
        for egg in eggs {
            egg_mass(*egg)?;
        }
        let net = Grams(eggs.iter().map(|e| e.0).sum());
        let needed = Grams(class.min.0 * eggs.len() as f64);
        let single = class.single_min.unwrap_or(class.min).0;
        let light: Vec<usize> = (0..eggs.len())
            .filter(|&i| eggs[i].0 < single - EPSILON)
            .collect();
        let below = self.below(class).map_or(f64::INFINITY, |g| g.0);
        let heavy: Vec<usize> = (0..eggs.len())
            .filter(|&i| eggs[i].0 >= below - EPSILON)
            .collect();
        Ok(CartonWeight {
            net,
            needed,
            meets: light.is_empty() && heavy.is_empty() && net.0 >= needed.0 - EPSILON,
            light,
            heavy,
        })
    }

    /// Whether a lot of `total` eggs with so many in the next lower and the next higher class is
    /// within the tolerance; `None` when the scheme has none. The value is the number of lower
    /// eggs that would be allowed, and whether the lot passes.
    pub fn judge_lot(&self, total: u32, lower: u32, higher: u32) -> Option<Finding<(u32, bool)>> {
        let rule = self.tolerance.as_ref()?;
        let t = rule.value;
        let factor = match t.doubled_below {
            Some(limit) if total < limit => 2.0,
            _ => 1.0,
        };
        let allowed = super::tolerance::allowed_count(t.lower * factor, total);
        let both = t
            .neighbours
            .map(|s| super::tolerance::allowed_count(s * factor, total));
        let pass = lower <= allowed && both.is_none_or(|b| lower.saturating_add(higher) <= b);
        let words = format!(
            "{:.1} % of {total} eggs may be of the next lower class: {allowed}; found {lower}",
            t.lower * factor * 100.0
        );
        Some(Finding::new(
            (allowed, pass),
            rule.reason(words),
            LOCAL_CODES_DECIDE,
        ))
    }

    /// Whether one case of a lot holds no more eggs of the next lower class than a single case may;
    /// `None` when the scheme has no such limit. The value is as for [`SizeScheme::judge_lot`].
    pub fn judge_case(&self, eggs: u32, lower: u32) -> Option<Finding<(u32, bool)>> {
        let rule = self.tolerance.as_ref()?;
        let share = rule.value.lower_in_case?;
        let allowed = super::tolerance::allowed_count(share, eggs);
        let words = format!(
            "In one case of {eggs} eggs {:.1} % may be of the next lower class: {allowed}; found \
             {lower}",
            share * 100.0
        );
        Some(Finding::new(
            (allowed, lower <= allowed),
            rule.reason(words),
            LOCAL_CODES_DECIDE,
        ))
    }

    fn refuse(&self, species: Species) -> Option<Finding<Option<SizeClass>>> {
        if self.species.contains(&species) {
            return None;
        }
        let words = format!(
            "{} has no classes for {} eggs; sell them by count or weight, without a class",
            self.name,
            species.code()
        );
        Some(Finding::new(
            None,
            self.classes.reason(words),
            LOCAL_CODES_DECIDE,
        ))
    }
}

#[cfg(test)]
mod tests;
