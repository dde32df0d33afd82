use serde::{Deserialize, Serialize};

use super::baseline::{Baseline, FlockDay};
use super::cusum::{RunLengths, reference_value};
use super::distribution::Counts;
use super::error::{RatesError, between};
use crate::trade::finding::{FLOCK_CAUTION, Finding, Mark, Reason};

/// What a drop alarm is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AlarmWish {
    /// The drop to be found, as a share of the usual rate, for example 0.2.
    pub drop: f64,
    /// The mean number of known days between false alarms, at least, for example 365.
    pub days_between_false_alarms: f64,
}

/// A one-sided CUSUM on a flock's daily eggs that watches for a drop.
///
/// Each day scores how far its eggs lie under a reference value, in tenths of a day's standard
/// deviation, rounded to a whole; the sum of the scores, never below zero, raises the alarm above
/// the limit. Rounding the scores makes the sum a finite Markov chain, so that the false-alarm rate
/// stated is that of the very chart that runs. It is exact for independent days of the flock size
/// `hens` whose counts follow the baseline's law. With another number of hens the reference value
/// grows or shrinks with them while step and limit stay, as in the likelihood-ratio sum of counts
/// with a changing exposure: the pull back to zero and the scatter change alike, and the rate holds
/// nearly. That the baseline itself is estimated, the stated rate does not know.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DropAlarm {
    /// The flock size that the rates are stated for.
    pub hens: u32,
    /// The usual eggs a day.
    pub usual: f64,
    /// The daily count below which the sum rises.
    pub reference: f64,
    /// Eggs to one step of the sum.
    pub step: f64,
    /// Steps above which the alarm is raised.
    pub limit: u32,
    /// Mean known days to a false alarm, while the flock lays as usual.
    pub false_alarm_days: f64,
    /// The chance of a false alarm within 30 known days.
    pub false_alarm_in_30: f64,
    /// Mean known days to the alarm once the flock has dropped, from a sum of zero.
    pub days_to_find: f64,
    /// The alarm in words.
    pub why: String,
}

/// The alarm's sum after a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AlarmDay {
    /// The sum, in steps.
    pub sum: u32,
    /// Whether it is over the limit.
    pub alarm: bool,
    /// Days since the sum left zero, this one included, if it is not zero: when the drop, if it is
    /// one, is likeliest to have begun.
    pub rising_days: u32,
}

/// Steps to one standard deviation.
const FINENESS: f64 = 10.0;
/// The largest limit tried: forty standard deviations.
const LARGEST_LIMIT: u32 = 400;

impl DropAlarm {
    /// The alarm with the least limit that cries for nothing as seldom as wished.
    ///
    /// # Errors
    /// [`RatesError::Number`] for a drop outside 0.01 to 0.95, a wish outside 10 to 100,000 days, no
    /// hens, or a drop so small against the scatter of so few hens that no limit will do.
    pub fn design(
        baseline: &Baseline,
        hens: u32,
        wish: AlarmWish,
    ) -> Result<DropAlarm, RatesError> {
        let drop = between(
            "drop",
            wish.drop,
            0.01,
            0.95,
            "0.01 to 0.95 of the usual rate",
        )?;
        let wanted = between(
            "days_between_false_alarms",
            wish.days_between_false_alarms,
            10.0,
            100_000.0,
            "10 to 100000 days",
        )?;
        let hens_f = between("hens", f64::from(hens), 1.0, 1e7, "1 to 10000000")?;
        let usual = baseline.rate * hens_f;
        let law = Counts::new(usual, baseline.dispersion)?;
        let dropped = Counts::new(usual * (1.0 - drop), baseline.dispersion)?;
        let reference = reference_value(usual, usual * (1.0 - drop))?;
        let step = law.deviation().max(1e-6) / FINENESS;
        let chain = |limit: u32, law: Counts| {
            RunLengths::new(limit as usize, |score| at_most(law, reference, step, score))
        };
        let seldom = |limit| chain(limit, law).mean() >= wanted;
        let mut high = 8;
        while !seldom(high) {
            high *= 2;
            if high > LARGEST_LIMIT {
                return Err(RatesError::Number {
                    field: "drop",
                    value: drop,
                    allowed: "a drop that stands out from the daily scatter of so many hens",
                });
            }
        }
        let mut low = 0;
        while low < high {
            let middle = low.midpoint(high);
            if seldom(middle) {
                high = middle
            } else {
                low = middle + 1
            }
        }
        let limit = low;
        let quiet = chain(limit, law);
        let (false_alarm_days, false_alarm_in_30) = (quiet.mean(), quiet.alarm_within(30));
        let days_to_find = chain(limit, dropped).mean();
        let why = format!(
            "watches for a drop of {:.0} % from {usual:.1} eggs a day ({hens} hens); a false alarm \
             once in {false_alarm_days:.0} days on the average ({:.1} % chance within 30 days); such \
             a drop is found after {days_to_find:.1} days on the average",
            100.0 * drop,
            100.0 * false_alarm_in_30
        );
        Ok(DropAlarm {
            hens,
            usual,
            reference,
            step,
            limit,
            false_alarm_days,
            false_alarm_in_30,
            days_to_find,
            why,
        })
    }

    /// What a count of so many hens adds to the sum.
    fn score(&self, eggs: u32, hens: u32) -> i64 {
        let reference = self.reference * f64::from(hens) / f64::from(self.hens);
        ((reference - f64::from(eggs)) / self.step).round() as i64
    }

    /// The sum after each day, from zero. Unknown days and days without hens leave it as it is. An
    /// alarm does not reset it: it lasts until the flock lays again.
    pub fn run(&self, days: &[FlockDay]) -> Vec<AlarmDay> {
        let (mut sum, mut rising_days) = (0_i64, 0);
        let day = |day: &FlockDay| {
            if let Some(eggs) = day.eggs.filter(|_| day.hens > 0) {
                sum = (sum + self.score(eggs, day.hens)).max(0);
            }
            rising_days = if sum > 0 { rising_days + 1 } else { 0 };
            AlarmDay {
                sum: sum.min(i64::from(u32::MAX)) as u32,
                alarm: sum > i64::from(self.limit),
                rising_days,
            }
        };
        days.iter().map(day).collect()
    }

    /// What the alarm says on the last of these days, with what to look at first; `None` for no days.
    pub fn advice(&self, days: &[FlockDay]) -> Option<Finding<AlarmDay>> {
        let last = self.run(days).pop()?;
        let words = if last.alarm {
            format!(
                "Fewer eggs than usual by more than scatter explains, since {} days counting today; \
                 the alarm {}",
                last.rising_days, self.why
            )
        } else {
            format!(
                "No drop that stands out from the scatter; the alarm {}",
                self.why
            )
        };
        let source = "CUSUM of counts: Technometrics 27:129–141 (1985); rates computed here";
        let mut why = vec![Reason::new(words, source, Mark::Memory)];
        if last.alarm {
            why.push(Reason::common_practice(
                "Look at water and feed first, then heat, hours of light, hidden nests, egg eaters, \
                 mites, a moult; then at the birds themselves.",
            ));
        }
        Some(Finding::because(last, why, FLOCK_CAUTION))
    }
}

/// The chance of a score of `score` or less: of that many eggs or more.
fn at_most(law: Counts, reference: f64, step: f64, score: i64) -> f64 {
    // Halves round away from zero, so ask the rounding itself which count is the least.
    let scored = |eggs: f64| ((reference - eggs) / step).round() as i64;
    let mut eggs = (reference - (score as f64 + 0.5) * step).floor().max(0.0);
    while scored(eggs) > score {
        eggs += 1.0;
    }
    while eggs > 0.0 && scored(eggs - 1.0) <= score {
        eggs -= 1.0;
    }
    law.at_least(eggs as u64)
}
