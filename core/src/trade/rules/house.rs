use serde::{Deserialize, Serialize};

use super::super::defect::Defect;
use super::super::defect_facts::Packable;
use super::super::error::TradeError;
use super::super::finding::{Finding, LOCAL_CODES_DECIDE, Mark, Reason};

/// What the farm decides for itself, on top of a rule pack. It can only be stricter than the pack,
/// or choose where the pack leaves a choice.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct HousePolicy {
    /// Defects that the farm packs although it need not, for example pimples.
    pub accepted: Vec<Defect>,
    /// Whether the bloom is kept: eggs are cleaned dry only.
    pub keep_bloom: bool,
    /// A best-by of the farm's own in days from pack day, if shorter than the pack's.
    pub best_by_days: Option<u32>,
    /// The widest difference of lay days within one carton, in days.
    pub ages_apart_max_days: Option<u32>,
}

impl HousePolicy {
    /// Checks that the policy only decides what is left to it.
    ///
    /// # Errors
    /// The first accepted defect that no policy may accept, or a span of days that cannot be.
    pub fn validate(&self) -> Result<(), TradeError> {
        for defect in &self.accepted {
            if !defect.facts().house_may_decide() {
                return Err(TradeError::not_allowed(
                    "house policy: accepted",
                    defect.code(),
                    "a defect that the policy may decide, for example pimples",
                ));
            }
        }
        if let Some(days) = self.best_by_days {
            super::within(
                "house policy: best_by_days",
                f64::from(days),
                1.0,
                366.0,
                "days",
            )?;
        }
        if let Some(days) = self.ages_apart_max_days {
            let field = "house policy: ages_apart_max_days";
            super::within(field, f64::from(days), 0.0, 366.0, "days")?;
        }
        Ok(())
    }

    /// Whether an egg with this defect may go into a carton. `cleaned` says that the egg is clean
    /// again and was looked over again. Stains and spots have limits of size as well: only
    /// [`QualityScheme::judge`](super::super::quality::QualityScheme::judge) sees these.
    pub fn may_pack(&self, defect: Defect, cleaned: bool) -> Finding<bool> {
        let facts = defect.facts();
        let rule = Reason::new(facts.disposition, facts.source, facts.mark);
        let house = |rule: &str| Reason::new(rule, "house policy", Mark::House);
        let (value, mut why) = match facts.packable {
            Packable::Never => (false, vec![]),
            Packable::AfterCleaning if cleaned => (true, vec![]),
            Packable::AfterCleaning => (
                false,
                vec![Reason::common_practice(
                    "Clean it and look it over again first.",
                )],
            ),
            Packable::HouseDecides if self.accepted.contains(&defect) => {
                (true, vec![house("The farm packs eggs with this defect.")])
            }
            Packable::HouseDecides => (
                false,
                vec![house("The farm does not pack eggs with this defect.")],
            ),
        };
        why.insert(0, rule);
        Finding::because(value, why, LOCAL_CODES_DECIDE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_house_decides_only_what_is_left_to_it() {
        let pimples = HousePolicy {
            accepted: vec![Defect::Pimples],
            ..HousePolicy::default()
        };
        assert!(pimples.validate().is_ok());
        assert!(pimples.may_pack(Defect::Pimples, false).value);
        assert!(
            !HousePolicy::default()
                .may_pack(Defect::Pimples, false)
                .value
        );
        let cracks = HousePolicy {
            accepted: vec![Defect::HairlineCrack],
            ..HousePolicy::default()
        };
        assert!(cracks.validate().is_err());
        assert!(!cracks.may_pack(Defect::HairlineCrack, true).value);
    }

    #[test]
    fn dirt_has_to_go_first() {
        let house = HousePolicy::default();
        assert!(!house.may_pack(Defect::Mud, false).value);
        assert!(house.may_pack(Defect::Mud, true).value);
    }
}
