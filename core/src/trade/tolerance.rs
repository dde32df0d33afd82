//! What a lot of cartons may hold besides its grade. A tolerance belongs to a lot: in one dozen a
//! single check is already 8 %.

use serde::{Deserialize, Serialize};

use super::error::{TradeError, within};
use super::finding::{Finding, LOCAL_CODES_DECIDE, Mark, Reason};

/// Where a lot is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Where it is packed.
    Origin,
    /// Anywhere later.
    Destination,
}

/// The shares that a lot of one grade may hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LotTolerances {
    /// The grade's word, for example `aa`.
    pub grade: String,
    /// Where the lot is judged.
    pub stage: Stage,
    /// The least share of this grade or better.
    pub of_grade: f64,
    /// The largest share of checks.
    pub checks: Option<f64>,
    /// The largest share of checks when the size is Jumbo.
    pub checks_jumbo: Option<f64>,
    /// The largest share of leakers, dirties and blood or meat spot losses together.
    pub restricted: Option<f64>,
    /// The largest share of blood or meat spot losses.
    pub spot_loss: Option<f64>,
    /// The largest share of B for air cells over 3/8 inch, small spots or serious yolk defects.
    pub serious_b: Option<f64>,
    /// Below this number of eggs the shares are doubled.
    pub doubled_below: Option<u32>,
    /// The text the shares come from.
    pub source: String,
    /// How sure that source is.
    pub mark: Mark,
}

/// What was counted in a lot. Every egg counts once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct LotCounts {
    /// Eggs of the lot's grade or better.
    pub of_grade: u32,
    /// Sound eggs of a lower grade, without the ones in `serious_b`.
    pub lower: u32,
    /// Lower for large air cells, small spots or serious yolk defects.
    pub serious_b: u32,
    /// Checks.
    pub checks: u32,
    /// Dirties.
    pub dirties: u32,
    /// Leakers.
    pub leakers: u32,
    /// Losses from blood or meat spots.
    pub spot_loss: u32,
    /// Any other loss or inedible egg; none is allowed.
    pub other_loss: u32,
}

/// One line of a verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ToleranceLine {
    /// What is counted.
    pub what: String,
    /// The most that is allowed.
    pub allowed: u32,
    /// What was found.
    pub found: u32,
}

impl ToleranceLine {
    /// Whether this line is kept.
    pub fn holds(&self) -> bool {
        self.found <= self.allowed
    }
}

/// The whole number of eggs that a share of a lot allows: rounded down.
pub fn allowed_count(share: f64, total: u32) -> u32 {
    // A share such as 0.05 is not exact in binary; 5 % of 180 is 9, not 8.999….
    (share * f64::from(total) + 1e-9).floor().max(0.0) as u32
}

impl LotCounts {
    /// All eggs of the lot.
    pub fn total(&self) -> u32 {
        [
            self.of_grade,
            self.lower,
            self.serious_b,
            self.checks,
            self.dirties,
            self.leakers,
            self.spot_loss,
            self.other_loss,
        ]
        .into_iter()
        .fold(0, u32::saturating_add)
    }
}

impl LotTolerances {
    /// Checks that every share is a share.
    ///
    /// # Errors
    /// The first that is not.
    pub fn validate(&self) -> Result<(), TradeError> {
        let others = [
            self.checks,
            self.checks_jumbo,
            self.restricted,
            self.spot_loss,
            self.serious_b,
        ];
        for share in others.into_iter().flatten().chain([self.of_grade]) {
            within("lot tolerance", share, 0.0, 1.0, "(share)")?;
        }
        Ok(())
    }

    /// Judges a lot line by line; it passes when every line holds.
    ///
    /// # Errors
    /// When the lot holds fewer than two eggs: one egg is no lot.
    pub fn judge(
        &self,
        counts: &LotCounts,
        jumbo: bool,
    ) -> Result<Finding<Vec<ToleranceLine>>, TradeError> {
        let total = counts.total();
        if total < 2 {
            return Err(TradeError::not_allowed(
                "eggs in the lot",
                total,
                "2 or more",
            ));
        }
        let factor = match self.doubled_below {
            Some(limit) if total < limit => 2.0,
            _ => 1.0,
        };
        let allowed = |share: f64| allowed_count(share * factor, total);
        let mut lines = vec![ToleranceLine {
            what: format!("not of grade {} or better", self.grade.to_uppercase()),
            allowed: allowed(1.0 - self.of_grade),
            found: total - counts.of_grade,
        }];
        let mut line = |what: &str, share: Option<f64>, found: u32| {
            if let Some(share) = share {
                lines.push(ToleranceLine {
                    what: what.to_owned(),
                    allowed: allowed(share),
                    found,
                });
            }
        };
        let checks = match self.checks_jumbo {
            Some(share) if jumbo => Some(share),
            _ => self.checks,
        };
        line("checks", checks, counts.checks);
        let restricted = counts
            .dirties
            .saturating_add(counts.leakers)
            .saturating_add(counts.spot_loss);
        line(
            "leakers, dirties and spot losses",
            self.restricted,
            restricted,
        );
        line(
            "losses from blood or meat spots",
            self.spot_loss,
            counts.spot_loss,
        );
        line(
            "B for air cell, spots or yolk",
            self.serious_b,
            counts.serious_b,
        );
        lines.push(ToleranceLine {
            what: "any other loss or inedible egg".to_owned(),
            allowed: 0,
            found: counts.other_loss,
        });
        let words = format!(
            "A lot of {total} eggs: at least {:.0} % of grade {} or better",
            (1.0 - (1.0 - self.of_grade) * factor) * 100.0,
            self.grade.to_uppercase()
        );
        let why = Reason::new(words, self.source.clone(), self.mark);
        Ok(Finding::new(lines, why, LOCAL_CODES_DECIDE))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trade::rules::RulePack;

    #[test]
    fn shares_become_whole_eggs_rounded_down() {
        let table = [
            (12, [0, 0, 0, 0, 1, 1]),
            (30, [0, 0, 1, 2, 3, 3]),
            (180, [0, 5, 9, 12, 18, 23]),
            (360, [1, 11, 18, 25, 36, 46]),
        ];
        for (eggs, expected) in table {
            let got = [0.005, 0.033, 0.05, 0.07, 0.10, 0.13].map(|s| allowed_count(s, eggs));
            assert_eq!(got, expected, "{eggs} eggs");
        }
    }

    #[test]
    fn one_check_in_a_dozen_breaks_the_tolerance_and_in_a_case_does_not() {
        let pack = RulePack::us_federal();
        let aa = &pack.tolerances[0];
        let judge = |of_grade, checks| {
            let counts = LotCounts {
                of_grade,
                checks,
                ..LotCounts::default()
            };
            aa.judge(&counts, false)
                .unwrap()
                .value
                .iter()
                .all(ToleranceLine::holds)
        };
        assert!(!judge(11, 1));
        assert!(judge(359, 1));
        assert!(judge(342, 18));
        assert!(!judge(341, 19));
        // WAC 16-104-190: a lot is two or more eggs.
        let of = |of_grade| LotCounts {
            of_grade,
            ..LotCounts::default()
        };
        assert!(aa.judge(&of(2), false).is_ok());
        assert!(aa.judge(&of(1), false).is_err());
    }

    #[test]
    fn small_lots_are_judged_with_double_shares_in_the_eu() {
        let pack = RulePack::eu();
        let judge = |stage, total: u32| {
            let rule = pack.tolerances.iter().find(|t| t.stage == stage).unwrap();
            let counts = LotCounts {
                of_grade: total,
                ..LotCounts::default()
            };
            rule.judge(&counts, false).unwrap().value[0].allowed
        };
        assert_eq!(judge(Stage::Origin, 60), 6);
        assert_eq!(judge(Stage::Destination, 60), 8);
        assert_eq!(judge(Stage::Origin, 179), 17);
        assert_eq!(judge(Stage::Origin, 180), 9);
    }
}
