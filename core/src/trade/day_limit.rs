//! A limit in days, with how its days are counted.

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::error::TradeError;

/// Whether the first day of a span counts as day one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Counting {
    /// The first day is day one: 45 days end 44 calendar days later.
    Inclusive,
    /// The first day is day zero.
    Exclusive,
}

/// The day a span begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FromDay {
    /// The day of packing.
    Pack,
    /// The day of laying (of the oldest egg).
    Lay,
}

/// A limit in days with its counting rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DayLimit {
    /// How many days.
    pub days: u32,
    /// Whether the first day counts.
    pub counting: Counting,
    /// Where the span begins.
    pub from: FromDay,
}

impl DayLimit {
    /// Days from the first day to the last day within the limit.
    pub fn days_after(&self) -> u32 {
        match self.counting {
            Counting::Inclusive => self.days.saturating_sub(1),
            Counting::Exclusive => self.days,
        }
    }

    /// The last day within the limit.
    ///
    /// # Errors
    /// When the calendar ends first.
    pub fn last_day(&self, first: NaiveDate) -> Result<NaiveDate, TradeError> {
        first
            .checked_add_days(Days::new(u64::from(self.days_after())))
            .ok_or_else(|| TradeError::not_allowed("day", first, "a day of the calendar"))
    }

    pub(super) fn words(&self, what: &str) -> String {
        let from = match self.from {
            FromDay::Pack => "packing",
            FromDay::Lay => "laying of the oldest egg",
        };
        match self.counting {
            Counting::Inclusive => format!(
                "{what} within {} days, the day of {from} counting as the first",
                self.days
            ),
            Counting::Exclusive => format!("{what} within {} days after {from}", self.days),
        }
    }
}
