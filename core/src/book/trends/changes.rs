use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use serde::Serialize;

use super::days::FlockDays;
use super::{CONFIDENCE, TrendSpan, WATCHED_DAYS};
use crate::trade::FLOCK_CAUTION;
use crate::trade::rates::{
    AlarmWish, Baseline, Comparison, DropAlarm, Proportion, RatesError, compare,
};

/// Days at the end that are held against those before them.
const LAST_DAYS: u64 = 14;

/// The watch asks for a drop of a fifth, and at most one false alarm a year.
const WISH: AlarmWish = AlarmWish {
    drop: 0.2,
    days_between_false_alarms: 365.0,
};

/// Whether a flock lays less than it used to, by more than its daily scatter explains.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Watch {
    /// Whether the alarm is raised; nothing where too little is known to say.
    pub alarm: Option<bool>,
    /// The day on which the drop, if it is one, is likeliest to have begun.
    pub since: Option<NaiveDate>,
    /// What the answer rests on, and what to look at first.
    pub why: Vec<String>,
    /// What a careful person would add.
    pub caution: &'static str,
}

/// Holds a flock's last two weeks against the eight before them.
pub(super) fn watch(flock: &FlockDays, to: NaiveDate) -> Watch {
    let back = |days: u64| to.checked_sub_days(Days::new(days)).unwrap_or(to);
    let usual = flock.flock_days(back(WATCHED_DAYS - 1), back(LAST_DAYS));
    let last = flock.flock_days(back(LAST_DAYS - 1), to);
    let found = || -> Result<Option<Watch>, RatesError> {
        let baseline = Baseline::from_days(&usual, None)?;
        let hens = last.iter().rev().map(|day| day.hens).find(|hens| *hens > 0);
        let alarm = DropAlarm::design(&baseline, hens.unwrap_or(0), WISH)?;
        Ok(alarm.advice(&last).map(|finding| Watch {
            alarm: Some(finding.value.alarm),
            since: (finding.value.rising_days > 0)
                .then(|| back(u64::from(finding.value.rising_days) - 1)),
            why: finding.why.into_iter().map(|reason| reason.rule).collect(),
            caution: FLOCK_CAUTION,
        }))
    };
    let silent = |why: String| Watch {
        alarm: None,
        since: None,
        why: vec![why],
        caution: FLOCK_CAUTION,
    };
    match found() {
        Ok(Some(watch)) => watch,
        Ok(None) => silent("no days to look at".into()),
        Err(e) => silent(format!(
            "too little is known of the eight weeks before the last two to watch for a drop: {e}"
        )),
    }
}

/// The last span with a rate against the one before it, then each reason to pull eggs. All reasons
/// together share one level, so that many reasons do not make a chance find likely.
pub(super) fn changes(spans: &[TrendSpan]) -> Vec<Comparison> {
    let level = 1.0 - CONFIDENCE;
    let mut found = Vec::new();
    let mut rated = spans.iter().rev().filter_map(|span| {
        let rate = span.rate?;
        Some((span, Proportion::new(rate.eggs, rate.hen_days).ok()?))
    });
    if let (Some((now, here)), Some((then, there))) = (rated.next(), rated.next()) {
        let name = format!("eggs per hen-day, {} against {}", spoken(now), spoken(then));
        found.extend(compare(&name, here, there, level).ok());
    }
    let mut gathered = spans
        .iter()
        .rev()
        .filter(|span| span.eggs.is_some_and(|n| n > 0));
    let (Some(now), Some(then)) = (gathered.next(), gathered.next()) else {
        return found;
    };
    let reasons: BTreeSet<&String> = now.pulled.keys().chain(then.pulled.keys()).collect();
    let level = level / reasons.len().max(1) as f64;
    for reason in reasons {
        let share = |span: &TrendSpan| {
            let pulled = span.pulled.get(reason).copied().unwrap_or(0);
            let events = u64::try_from(pulled).ok()?;
            let of = u64::try_from(span.eggs?).ok()?;
            Proportion::new(events, of).ok()
        };
        let name = format!(
            "{} of eggs gathered, {} against {}",
            reason.replace('_', " "),
            spoken(now),
            spoken(then)
        );
        if let (Some(here), Some(there)) = (share(now), share(then)) {
            found.extend(compare(&name, here, there, level).ok());
        }
    }
    found
}

/// The span's name; its days too where some of them are unknown.
fn spoken(span: &TrendSpan) -> String {
    match span.days.unknown {
        0 => span.label.clone(),
        n => format!("{} ({n} days unknown)", span.label),
    }
}
