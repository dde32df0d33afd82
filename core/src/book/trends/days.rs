use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::book::{Line, Measure};
use crate::trade::rates::FlockDay;

/// What is known of one flock, day by day.
#[derive(Debug, Clone, Default)]
pub(super) struct FlockDays {
    pub(super) by_day: BTreeMap<NaiveDate, Counted>,
    /// Birds from a day on.
    pub(super) birds: BTreeMap<NaiveDate, u32>,
    /// The first day on which somebody should have gathered.
    first: Option<NaiveDate>,
    /// The last one.
    pub(super) last: Option<NaiveDate>,
}

/// One day's gathers.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Counted {
    pub(super) rounds: i64,
    pub(super) eggs: i64,
    pub(super) floor_laid: i64,
}

impl FlockDays {
    /// The flock was there on this day, perhaps before.
    pub(super) fn begin(&mut self, day: NaiveDate) {
        self.first = Some(self.first.map_or(day, |first| first.min(day)));
    }

    pub(super) fn add(&mut self, line: &Line) {
        self.begin(line.day);
        let day = self.by_day.entry(line.day).or_default();
        match line.measure {
            Measure::Rounds => day.rounds += line.n,
            Measure::FloorLaid => day.floor_laid += line.n,
            _ => day.eggs += line.n,
        }
    }

    /// The day's gathers, if there was a round.
    pub(super) fn known(&self, day: NaiveDate) -> Option<Counted> {
        self.by_day.get(&day).copied().filter(|d| d.rounds > 0)
    }

    /// Whether somebody should have gathered on the day.
    pub(super) fn due(&self, day: NaiveDate) -> bool {
        self.first.is_some_and(|first| first <= day) && self.last.is_none_or(|last| day <= last)
    }

    /// Whether the day before is unknown, so that its eggs may be in this one's.
    pub(super) fn after_gap(&self, day: NaiveDate) -> bool {
        day.pred_opt()
            .is_some_and(|before| self.due(before) && self.known(before).is_none())
    }

    /// The birds by the last headcount up to the day.
    pub(super) fn hens(&self, day: NaiveDate) -> Option<u32> {
        self.birds.range(..=day).next_back().map(|(_, n)| *n)
    }

    /// The days as the rates take them; without a headcount a day has no hens and says nothing.
    pub(super) fn flock_days(&self, from: NaiveDate, to: NaiveDate) -> Vec<FlockDay> {
        from.iter_days()
            .take_while(|day| *day <= to)
            .map(|day| FlockDay {
                hens: self.hens(day).unwrap_or(0),
                eggs: self
                    .known(day)
                    .map(|d| u32::try_from(d.eggs.max(0)).unwrap_or(u32::MAX)),
            })
            .collect()
    }
}
