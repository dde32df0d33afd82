//! The quality of one egg from what was seen before the light, by the criteria of a rule pack.

mod seen;

pub use seen::{Germ, Seen, Shell, Spots, Stain, StainTone, White, Yolk};

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, LOCAL_CODES_DECIDE, Reason};
use super::rule::Rule;
use super::species::Species;
use super::units::Millimetres;

/// What one grade allows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GradeCriteria {
    /// The word in records, for example `aa`.
    pub code: String,
    /// The word on the carton.
    pub name: String,
    /// The worst shell.
    pub shell: Shell,
    /// The strongest tone of stain that is allowed anywhere.
    pub stain_free: StainTone,
    /// The largest share of moderate stain in one place.
    pub stain_localised: f64,
    /// The largest share of moderate stain scattered.
    pub stain_scattered: f64,
    /// The deepest air cell; `None` for no limit.
    pub air_cell_max: Option<Millimetres>,
    /// Whether the air cell has to stay where it is.
    pub air_cell_still: bool,
    /// The worst white.
    pub white: White,
    /// The worst yolk.
    pub yolk: Yolk,
    /// The largest spots together.
    pub spots_max: Millimetres,
    /// The most of the germ that may be seen.
    pub germ: Germ,
    /// Whether a washed or cleaned egg may have the grade.
    pub cleaned: bool,
    /// Whether eggs of the grade may be sold in cartons to people.
    pub retail: bool,
    /// The least Haugh unit of the white, where the white is measured.
    pub haugh_min: Option<f64>,
}

/// The grades of a rule pack, best first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct QualityScheme {
    /// The species that the grades are for.
    pub species: Vec<Species>,
    /// The grades, best first.
    pub grades: Rule<Vec<GradeCriteria>>,
    /// The species that the rules for restricted eggs name. They are good practice for all others.
    pub restricted: Rule<Vec<Species>>,
    /// Spots larger than this make the egg a loss.
    pub spots_loss_above: Rule<Millimetres>,
}

/// What an egg is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quality {
    /// Of this grade, by its word.
    Grade(String),
    /// Sound, but below the last grade of the pack.
    BelowGrades,
    /// Dirty.
    Dirty,
    /// Cracked, not leaking; ranked below a dirty.
    Check,
    /// Leaking.
    Leaker,
    /// Unfit to eat.
    Loss,
    /// Rotten, or with an embryo.
    Inedible,
    /// Nobody looked inside; the fields that are missing.
    NotCandled(Vec<String>),
    /// The pack has no grades for this species.
    NoGrades,
}

impl Quality {
    /// The word in records: a grade's own, or `dirty`, `check`, `leaker`, `loss`, `inedible`;
    /// `None` where nothing can be said of the egg.
    pub fn word(&self) -> Option<&str> {
        match self {
            Quality::Grade(code) => Some(code),
            Quality::Dirty => Some("dirty"),
            Quality::Check => Some("check"),
            Quality::Leaker => Some("leaker"),
            Quality::Loss => Some("loss"),
            Quality::Inedible => Some("inedible"),
            Quality::BelowGrades | Quality::NotCandled(_) | Quality::NoGrades => None,
        }
    }

    /// Whether the egg may not be packed for people to buy.
    pub fn is_restricted(&self) -> bool {
        use Quality::{Check, Dirty, Inedible, Leaker, Loss};
        matches!(self, Dirty | Check | Leaker | Loss | Inedible)
    }
}

impl QualityScheme {
    /// Checks that the limits of the grades can be true.
    ///
    /// # Errors
    /// The first that cannot.
    pub fn validate(&self) -> Result<(), TradeError> {
        for grade in &self.grades.value {
            if let Some(depth) = grade.air_cell_max {
                within("air cell of a grade", depth.0, 0.0, 30.0, "mm")?;
            }
            within(
                "stain of a grade",
                grade.stain_localised,
                0.0,
                1.0,
                "(share)",
            )?;
            within(
                "stain of a grade",
                grade.stain_scattered,
                0.0,
                1.0,
                "(share)",
            )?;
            if let Some(unit) = grade.haugh_min {
                within("Haugh unit of a grade", unit, 0.0, 130.0, "HU")?;
            }
        }
        Ok(())
    }

    /// What an egg is, from what was seen. The rules for restricted eggs come first and hold for
    /// every species; grades are for the species of the scheme only.
    ///
    /// # Errors
    /// When a measurement cannot be: an air cell not of 0 to 40 mm, a share not of 0 to 1, spots
    /// not of 0 to 40 mm.
    pub fn judge(&self, species: Species, seen: &Seen) -> Result<Finding<Quality>, TradeError> {
        if let Some(depth) = seen.air_cell {
            within("air cell", depth.0, 0.0, 40.0, "mm")?;
        }
        if let Some(stain) = seen.stain {
            within(
                "share of the surface stained",
                stain.share,
                0.0,
                1.0,
                "(share)",
            )?;
        }
        if let Some(spots) = seen.spots {
            within("size of the spots", spots.size.0, 0.0, 40.0, "mm")?;
        }
        if let Some(restricted) = self.restricted(species, seen) {
            return Ok(restricted);
        }
        if !self.species.contains(&species) {
            let words = format!("There are no grades for {} eggs.", species.code());
            let why = self.grades.reason(words);
            return Ok(Finding::new(Quality::NoGrades, why, LOCAL_CODES_DECIDE));
        }
        let missing: Vec<String> = [
            ("air cell", seen.air_cell.is_none()),
            ("white", seen.white.is_none()),
            ("yolk", seen.yolk.is_none()),
        ]
        .into_iter()
        .filter(|(_, absent)| *absent)
        .map(|(name, _)| name.to_owned())
        .collect();
        if !missing.is_empty() {
            let words = format!("A grade needs the inside too: {}.", missing.join(", "));
            let why = self.grades.reason(words);
            return Ok(Finding::new(
                Quality::NotCandled(missing),
                why,
                LOCAL_CODES_DECIDE,
            ));
        }
        let mut why = Vec::new();
        for grade in &self.grades.value {
            match failing(grade, seen) {
                None => {
                    why.push(
                        self.grades
                            .reason(format!("{}: all criteria are met.", grade.name)),
                    );
                    let value = Quality::Grade(grade.code.clone());
                    return Ok(Finding::because(value, why, LOCAL_CODES_DECIDE));
                }
                Some(fault) => {
                    why.push(self.grades.reason(format!("Not {}: {fault}.", grade.name)));
                }
            }
        }
        // A stain too large for every grade is what makes an unbroken egg a dirty.
        let value = match seen.stain {
            Some(stain) if self.grades.value.iter().all(|g| too_stained(g, stain)) => {
                Quality::Dirty
            }
            _ => Quality::BelowGrades,
        };
        Ok(Finding::because(value, why, LOCAL_CODES_DECIDE))
    }

    /// The grade that a Haugh unit allows, for the white alone. `None` for other species: the
    /// formula is fitted to hens' eggs, so of others record height and weight only.
    ///
    /// # Errors
    /// When the unit is not −20 to 150.
    pub fn white_grade(
        &self,
        species: Species,
        unit: f64,
    ) -> Result<Option<&GradeCriteria>, TradeError> {
        within("Haugh unit", unit, -20.0, 150.0, "HU")?;
        if !self.species.contains(&species) {
            return Ok(None);
        }
        let by_white = |g: &&GradeCriteria| g.haugh_min.is_none_or(|min| unit >= min);
        Ok(self.grades.value.iter().find(by_white))
    }

    fn restricted(&self, species: Species, seen: &Seen) -> Option<Finding<Quality>> {
        let spots = seen
            .spots
            .filter(|s| s.in_white || s.size.0 > self.spots_loss_above.value.0);
        let prominent = seen.stain.is_some_and(|s| s.tone == StainTone::Prominent);
        let (value, words) = if seen.rotten || seen.germ == Germ::Blood {
            (
                Quality::Inedible,
                "Rot, or a blood ring or embryo: inedible.",
            )
        } else if seen.shell == Shell::Smashed {
            (Quality::Loss, "Smashed: loss.")
        } else if let Some(spots) = spots {
            let words = format!(
                "Spots of {} mm{}; loss above {:.1} mm or once blood is in the white.",
                spots.size.0,
                if spots.in_white {
                    ", blood in the white"
                } else {
                    ""
                },
                self.spots_loss_above.value.0
            );
            let why = self.spots_loss_above.reason(words);
            return Some(Finding::new(Quality::Loss, why, LOCAL_CODES_DECIDE));
        } else if seen.shell == Shell::Leaking {
            (Quality::Leaker, "Cracked through the membranes: a leaker.")
        } else if seen.shell == Shell::Cracked {
            (Quality::Check, "Cracked, membranes whole: a check.")
        } else if seen.adhering_dirt {
            (Quality::Dirty, "Adhering dirt: a dirty.")
        } else if prominent {
            (Quality::Dirty, "A prominent stain: a dirty.")
        } else {
            return None;
        };
        let mut why = vec![self.restricted.reason(words)];
        if !self.restricted.value.contains(&species) {
            why.push(Reason::common_practice(format!(
                "The rule does not name {} eggs; good practice is the same.",
                species.code()
            )));
        }
        Some(Finding::because(value, why, LOCAL_CODES_DECIDE))
    }
}

fn too_stained(grade: &GradeCriteria, stain: Stain) -> bool {
    let limit = if stain.scattered {
        grade.stain_scattered
    } else {
        grade.stain_localised
    };
    stain.tone > grade.stain_free && !(stain.tone == StainTone::Moderate && stain.share <= limit)
}

/// The first criterion of a grade that the egg fails, in words.
fn failing(grade: &GradeCriteria, seen: &Seen) -> Option<String> {
    if seen.shell > grade.shell {
        return Some("the shell is abnormal".to_owned());
    }
    if seen.stain.is_some_and(|s| too_stained(grade, s)) {
        return Some("stained over the limit".to_owned());
    }
    if seen.cleaned && !grade.cleaned {
        return Some("the egg was washed or cleaned".to_owned());
    }
    if let (Some(depth), Some(max)) = (seen.air_cell, grade.air_cell_max)
        && depth.0 > max.0
    {
        return Some(format!("air cell {} mm, at most {} mm", depth.0, max.0));
    }
    if seen.air_cell_moves && grade.air_cell_still {
        return Some("the air cell moves".to_owned());
    }
    if seen.white.is_some_and(|w| w > grade.white) {
        return Some("the white is too weak".to_owned());
    }
    if seen.yolk.is_some_and(|y| y > grade.yolk) {
        return Some("the yolk is too plain".to_owned());
    }
    if seen.spots.is_some_and(|s| s.size.0 > grade.spots_max.0) {
        return Some("blood or meat spots".to_owned());
    }
    if seen.germ > grade.germ {
        return Some("the germ shows".to_owned());
    }
    None
}

#[cfg(test)]
mod tests;
