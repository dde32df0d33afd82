//! The quality of one egg from what was seen before the light, by the criteria of a rule pack.

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, LOCAL_CODES_DECIDE, Mark, Reason};
use super::rules::Rule;
use super::species::Species;
use super::units::Millimetres;

/// The shell as seen and felt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shell {
    /// About the usual shape, sound, no thin spots.
    Normal,
    /// Unbroken, but misshapen, ridged or thin in places.
    Abnormal,
    /// Cracked, membranes whole.
    Cracked,
    /// Cracked through the membranes.
    Leaking,
    /// Smashed.
    Smashed,
}

/// How strong a stain is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StainTone {
    /// Specks, or a shade that one has to look for.
    Slight,
    /// Plain, but not striking.
    Moderate,
    /// Striking.
    Prominent,
}

/// A stain on the shell.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stain {
    /// How strong it is.
    pub tone: StainTone,
    /// The share of the surface, 0 to 1.
    pub share: f64,
    /// Whether it is in several places.
    pub scattered: bool,
}

/// The white as it lets the yolk move.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum White {
    /// Clear and firm.
    Firm,
    /// Clear and reasonably firm.
    ReasonablyFirm,
    /// Weak and watery.
    Weak,
}

/// The outline of the yolk as the egg is twirled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Yolk {
    /// Slightly defined.
    Slight,
    /// Fairly well defined.
    Fair,
    /// Plainly visible; dark, enlarged or flattened.
    Plain,
}

/// Blood or meat spots.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spots {
    /// Their size together.
    pub size: Millimetres,
    /// Whether blood has spread into the white.
    pub in_white: bool,
}

/// The germ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Germ {
    /// Not to be seen.
    None,
    /// Development visible, no blood from it.
    Visible,
    /// A blood ring or an embryo.
    Blood,
}

/// What somebody saw of one egg. The inside is `None` where nobody looked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// The shell.
    pub shell: Shell,
    /// Dirt or foreign matter that adheres.
    pub adhering_dirt: bool,
    /// A stain, if any.
    pub stain: Option<Stain>,
    /// The depth of the air cell.
    pub air_cell: Option<Millimetres>,
    /// Whether the air cell moves or bubbles.
    pub air_cell_moves: bool,
    /// The white.
    pub white: Option<White>,
    /// The yolk.
    pub yolk: Option<Yolk>,
    /// Blood or meat spots, if any.
    pub spots: Option<Spots>,
    /// The germ.
    pub germ: Germ,
    /// Any rot, mould, must, green white, stuck yolk.
    pub rotten: bool,
    /// Whether the egg was washed or otherwise cleaned.
    pub cleaned: bool,
}

impl Seen {
    /// A clean, sound egg of which the inside was not looked at.
    pub fn clean_outside() -> Seen {
        Seen {
            shell: Shell::Normal,
            adhering_dirt: false,
            stain: None,
            air_cell: None,
            air_cell_moves: false,
            white: None,
            yolk: None,
            spots: None,
            germ: Germ::None,
            rotten: false,
            cleaned: false,
        }
    }

    /// A clean, sound egg with the inside as given.
    pub fn candled(air_cell: Millimetres, white: White, yolk: Yolk) -> Seen {
        Seen {
            air_cell: Some(air_cell),
            white: Some(white),
            yolk: Some(yolk),
            ..Seen::clean_outside()
        }
    }
}

/// What one grade allows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GradeCriteria {
    /// The word in records, for example `aa`.
    pub code: String,
    /// The word on the carton.
    pub name: String,
    /// The worst shell.
    pub shell: Shell,
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
    /// When a measurement cannot be: an air cell not of 0 to 30 mm, a share not of 0 to 1, spots
    /// not of 0 to 40 mm.
    pub fn judge(&self, species: Species, seen: &Seen) -> Result<Finding<Quality>, TradeError> {
        if let Some(depth) = seen.air_cell {
            within("air cell", depth.0, 0.0, 30.0, "mm")?;
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
        if let Some(restricted) = self.restricted(seen) {
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

    /// The grade that a Haugh unit allows, for the white alone.
    ///
    /// # Errors
    /// When the unit is not −20 to 150.
    pub fn white_grade(&self, unit: f64) -> Result<Option<&GradeCriteria>, TradeError> {
        within("Haugh unit", unit, -20.0, 150.0, "HU")?;
        let by_white = |g: &&GradeCriteria| g.haugh_min.is_none_or(|min| unit >= min);
        Ok(self.grades.value.iter().find(by_white))
    }

    fn restricted(&self, seen: &Seen) -> Option<Finding<Quality>> {
        let us = |value, words: &str, source: &str| {
            let why = Reason::new(words, source, Mark::Seen);
            Some(Finding::new(value, why, LOCAL_CODES_DECIDE))
        };
        const ACT: &str = "7 CFR 57.1";
        if seen.rotten || seen.germ == Germ::Blood {
            return us(
                Quality::Inedible,
                "Rot, or a blood ring or embryo: inedible.",
                ACT,
            );
        }
        if seen.shell == Shell::Smashed {
            return us(Quality::Loss, "Smashed: loss.", ACT);
        }
        if let Some(spots) = seen.spots
            && (spots.in_white || spots.size.0 > self.spots_loss_above.value.0)
        {
            let words = format!(
                "Spots of {} mm{}; loss above {} mm or once blood is in the white.",
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
        }
        match seen.shell {
            Shell::Leaking => {
                return us(
                    Quality::Leaker,
                    "Cracked through the membranes: a leaker.",
                    ACT,
                );
            }
            Shell::Cracked => {
                return us(Quality::Check, "Cracked, membranes whole: a check.", ACT);
            }
            _ => {}
        }
        if seen.adhering_dirt {
            return us(Quality::Dirty, "Adhering dirt: a dirty.", ACT);
        }
        if seen.stain.is_some_and(|s| s.tone == StainTone::Prominent) {
            return us(
                Quality::Dirty,
                "A prominent stain: a dirty.",
                "WAC 16-104-140; Minn. Stat. 29.21 subd. 5",
            );
        }
        None
    }
}

fn too_stained(grade: &GradeCriteria, stain: Stain) -> bool {
    let limit = if stain.scattered {
        grade.stain_scattered
    } else {
        grade.stain_localised
    };
    stain.tone == StainTone::Moderate && stain.share > limit
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
mod tests {
    use super::*;
    use crate::trade::rules::RulePack;

    fn us(seen: &Seen) -> Quality {
        let scheme = RulePack::us_federal().quality.unwrap();
        scheme.judge(Species::Hen, seen).unwrap().value
    }

    fn grade(code: &str) -> Quality {
        Quality::Grade(code.to_owned())
    }

    #[test]
    fn the_worst_factor_decides() {
        let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
        assert_eq!(us(&good), grade("aa"));
        let yolk = Seen {
            yolk: Some(Yolk::Plain),
            ..good.clone()
        };
        assert_eq!(us(&yolk), grade("b"));
        let shell = Seen {
            shell: Shell::Abnormal,
            ..good.clone()
        };
        assert_eq!(us(&shell), grade("b"));
        let bubbly = Seen {
            air_cell_moves: true,
            ..good.clone()
        };
        assert_eq!(us(&bubbly), grade("aa"));
        let spot = Spots {
            size: Millimetres(2.0),
            in_white: false,
        };
        assert_eq!(
            us(&Seen {
                spots: Some(spot),
                ..good.clone()
            }),
            grade("b")
        );
        let bloody = Spots {
            in_white: true,
            ..spot
        };
        assert_eq!(
            us(&Seen {
                spots: Some(bloody),
                ..good
            }),
            Quality::Loss
        );
    }

    #[test]
    fn air_cell_limits_hold_on_both_sides() {
        for (inches, expected) in [(0.125, "aa"), (0.1251, "a"), (0.1875, "a"), (0.1876, "b")] {
            let depth = Millimetres::from_inches(inches);
            let seen = Seen::candled(depth, White::Firm, Yolk::Slight);
            assert_eq!(us(&seen), grade(expected), "{inches} in");
        }
    }

    #[test]
    fn stains_by_share_and_place() {
        let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
        let stained = |tone, share, scattered| {
            us(&Seen {
                stain: Some(Stain {
                    tone,
                    share,
                    scattered,
                }),
                ..good.clone()
            })
        };
        assert_eq!(stained(StainTone::Slight, 0.01, false), grade("aa"));
        assert_eq!(stained(StainTone::Moderate, 1.0 / 32.0, false), grade("b"));
        assert_eq!(stained(StainTone::Moderate, 0.0313, false), Quality::Dirty);
        assert_eq!(stained(StainTone::Moderate, 1.0 / 16.0, true), grade("b"));
        assert_eq!(stained(StainTone::Moderate, 0.0626, true), Quality::Dirty);
        assert_eq!(stained(StainTone::Prominent, 0.001, false), Quality::Dirty);
    }

    #[test]
    fn nobody_looked_and_no_grades_are_answers() {
        let unseen = Seen::clean_outside();
        assert!(matches!(us(&unseen), Quality::NotCandled(missing) if missing.len() == 3));
        let scheme = RulePack::us_federal().quality.unwrap();
        let good = Seen::candled(Millimetres(3.0), White::Firm, Yolk::Slight);
        let duck = scheme.judge(Species::Duck, &good).unwrap().value;
        assert_eq!(duck, Quality::NoGrades);
        let cracked = Seen {
            shell: Shell::Cracked,
            ..good
        };
        let duck = scheme.judge(Species::Duck, &cracked).unwrap().value;
        assert_eq!(duck, Quality::Check);
        let impossible = Seen::candled(Millimetres(31.0), White::Firm, Yolk::Slight);
        assert!(scheme.judge(Species::Hen, &impossible).is_err());
    }

    #[test]
    fn eu_class_a_is_not_washed_and_its_air_cell_stands_still() {
        let scheme = RulePack::eu().quality.unwrap();
        let judge = |seen: &Seen| scheme.judge(Species::Hen, seen).unwrap().value;
        let good = Seen::candled(Millimetres(4.0), White::Firm, Yolk::Slight);
        assert_eq!(judge(&good), grade("extra"));
        let five = Seen {
            air_cell: Some(Millimetres(4.1)),
            ..good.clone()
        };
        assert_eq!(judge(&five), grade("a"));
        assert_eq!(
            judge(&Seen {
                air_cell: Some(Millimetres(6.1)),
                ..good.clone()
            }),
            grade("b")
        );
        assert_eq!(
            judge(&Seen {
                cleaned: true,
                ..good.clone()
            }),
            grade("b")
        );
        assert_eq!(
            judge(&Seen {
                air_cell_moves: true,
                ..good
            }),
            grade("b")
        );
    }
}
