use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::baseline::FlockDay;
use super::error::RatesError;

/// Whether a bird counts on the day it came or went. It changes the answer, so it is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Convention {
    /// A bird that left or died on a day still counts as a hen of that day.
    pub lost_bird_counts: bool,
    /// A bird that came on a day already counts as a hen of that day.
    pub new_bird_counts: bool,
}

impl Convention {
    /// Neither counts, as in the worked example of an agricultural arithmetic textbook.
    pub const TEXTBOOK: Convention = Convention {
        lost_bird_counts: false,
        new_bird_counts: false,
    };
}

/// Birds that came or went on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlockChange {
    /// The day.
    pub day: NaiveDate,
    /// Birds added.
    pub added: u32,
    /// Birds that died, were sold or taken out.
    pub lost: u32,
}

/// A flock over time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flock {
    /// Birds when the span begins: the hens housed.
    pub housed: u32,
    /// What changed since.
    pub changes: Vec<FlockChange>,
    /// How the days of change are counted.
    pub convention: Convention,
}

impl Flock {
    /// Hens that count on a day.
    ///
    /// # Errors
    /// [`RatesError::Day`] if more birds were lost than there were.
    pub fn hens(&self, day: NaiveDate) -> Result<u32, RatesError> {
        let mut hens = i64::from(self.housed);
        for change in &self.changes {
            if change.day < day || (change.day == day && self.convention.new_bird_counts) {
                hens += i64::from(change.added);
            }
            if change.day < day || (change.day == day && !self.convention.lost_bird_counts) {
                hens -= i64::from(change.lost);
            }
        }
        u32::try_from(hens).map_err(|_| RatesError::Day {
            field: "day of a flock that has lost more birds than it had",
            value: day,
            allowed: "losses up to the birds alive".into(),
        })
    }
}

/// What was gathered on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct GatherDay {
    /// The farm day.
    pub day: NaiveDate,
    /// Eggs, or `None` if nobody gathered or wrote it down. 0 is a gather that found none.
    pub eggs: Option<u32>,
    /// Days whose eggs these are, ending with this one: 1 as a rule, 2 after a day without a round.
    pub covers: u32,
}

impl GatherDay {
    /// A count that is of this day alone.
    pub fn new(day: NaiveDate, eggs: Option<u32>) -> GatherDay {
        GatherDay {
            day,
            eggs,
            covers: 1,
        }
    }
}

/// How a flock laid over a span of days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LayRate {
    /// Eggs on the known days.
    pub eggs: u64,
    /// Hen-days on the known days: hens alive, summed over days.
    pub hen_days: u64,
    /// Hen-days on all days of the span.
    pub all_hen_days: u64,
    /// Days with a count.
    pub known_days: u32,
    /// Days of the span without one.
    pub unknown_days: u32,
    /// Eggs per hundred hens alive and day; `None` if no hen-day is known.
    pub hen_day_percent: Option<f64>,
    /// Eggs per hundred hens housed at the start and day; `None` likewise.
    pub hen_housed_percent: Option<f64>,
    /// The figures in words.
    pub why: String,
}

/// Hen-day and hen-housed production from `from` to `to`, both included. Days that no entry covers
/// are unknown: neither their eggs nor their hen-days count.
///
/// Hen-day % = 100 × eggs ÷ Σ hens alive each day; hen-housed % = 100 × eggs ÷ (hens housed × days).
/// Source: an international livestock glossary.
///
/// # Errors
/// [`RatesError::Day`] for a span that ends before it begins, an entry outside it, a day covered
/// twice, or more birds lost than there were; [`RatesError::Number`] for `covers` of 0.
pub fn lay_rate(
    from: NaiveDate,
    to: NaiveDate,
    gathers: &[GatherDay],
    flock: &Flock,
) -> Result<LayRate, RatesError> {
    let covered = covered(from, to, gathers)?;
    let eggs: u64 = gathers.iter().map(|g| u64::from(g.eggs.unwrap_or(0))).sum();
    let (mut hen_days, mut all_hen_days, mut known_days, mut days) = (0, 0, 0_u32, 0_u32);
    for day in from.iter_days().take_while(|day| *day <= to) {
        let hens = u64::from(flock.hens(day)?);
        all_hen_days += hens;
        days += 1;
        if covered.get(&day) == Some(&true) {
            hen_days += hens;
            known_days += 1;
        }
    }
    let percent = |whole: u64| (whole > 0).then(|| 100.0 * eggs as f64 / whole as f64);
    let hen_day_percent = percent(hen_days);
    let unknown_days = days - known_days;
    let mut why = match hen_day_percent {
        Some(rate) => format!(
            "{eggs} eggs from {hen_days} hen-days on {known_days} known days: {rate:.1} eggs per \
             100 hens a day"
        ),
        None => "no day with a count and a hen: no rate".to_owned(),
    };
    if unknown_days > 0 {
        why += &format!("; {unknown_days} days without a gather are left out, not taken as zero");
    }
    Ok(LayRate {
        eggs,
        hen_days,
        all_hen_days,
        known_days,
        unknown_days,
        hen_day_percent,
        hen_housed_percent: percent(u64::from(flock.housed) * u64::from(known_days)),
        why,
    })
}

/// The days that the gathers cover, and whether their eggs are known.
fn covered(
    from: NaiveDate,
    to: NaiveDate,
    gathers: &[GatherDay],
) -> Result<BTreeMap<NaiveDate, bool>, RatesError> {
    let day_error = |field, value, allowed: String| {
        Err(RatesError::Day {
            field,
            value,
            allowed,
        })
    };
    if to < from {
        return day_error("to", to, format!("{from} or later"));
    }
    let mut covered: BTreeMap<NaiveDate, bool> = BTreeMap::new();
    for gather in gathers {
        if gather.covers == 0 {
            return Err(RatesError::Number {
                field: "covers",
                value: 0.0,
                allowed: "1 day or more",
            });
        }
        for back in 0..u64::from(gather.covers) {
            let day = gather.day.checked_sub_days(Days::new(back));
            match day.filter(|day| (from..=to).contains(day)) {
                Some(day) if covered.insert(day, gather.eggs.is_some()).is_some() => {
                    return day_error("day", day, "each day covered once".into());
                }
                Some(_) => {}
                None => {
                    let allowed = format!("gathers of the days {from} to {to}");
                    return day_error("day", gather.day, allowed);
                }
            }
        }
    }
    Ok(covered)
}

/// The days from `from` to `to` as charts, alarm and forecast take them. A gather that covers several
/// days is one observation, on its own day, of all the hen-days that it covers; the days before it
/// and those without a gather are unknown, not zero.
///
/// # Errors
/// As for [`lay_rate`].
pub fn flock_days(
    from: NaiveDate,
    to: NaiveDate,
    gathers: &[GatherDay],
    flock: &Flock,
) -> Result<Vec<FlockDay>, RatesError> {
    covered(from, to, gathers)?;
    let by_day: BTreeMap<NaiveDate, &GatherDay> = gathers.iter().map(|g| (g.day, g)).collect();
    let of_day = |day: NaiveDate| {
        let Some(gather) = by_day.get(&day) else {
            let hens = flock.hens(day)?;
            return Ok(FlockDay { hens, eggs: None });
        };
        let days = day.iter_days().rev().take(gather.covers as usize);
        let hens = days
            .map(|day| flock.hens(day))
            .try_fold(0_u32, |sum, hens| Ok(sum.saturating_add(hens?)))?;
        Ok(FlockDay {
            hens,
            eggs: gather.eggs,
        })
    };
    from.iter_days()
        .take_while(|day| *day <= to)
        .map(of_day)
        .collect()
}
