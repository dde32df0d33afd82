//! How flocks lay over days, weeks, months and years, what is lost of it, and what changed.
//!
//! A day without a gather is unknown, not zero: it adds neither eggs nor hen-days. Rates divide the
//! eggs of the days with a gather and a headcount by the hens of these very days.

mod changes;
mod days;
mod step;

pub use changes::Watch;
pub use step::Step;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::Serialize;

use self::days::FlockDays;
use super::{Days, Flock, Line, Measure, Names};
use crate::record::Id;
use crate::trade::rates::{Comparison, Interval, Proportion};
use crate::trade::{FLOCK_CAUTION, Species};

/// The confidence of every interval of a trend.
pub const CONFIDENCE: f64 = 0.95;

/// Days before the last one that the watch for a drop looks at; their lines belong to the input.
pub const WATCHED_DAYS: u64 = 70;

/// What trends are made from.
#[derive(Debug, Clone)]
pub struct TrendInput {
    /// First farm day asked for.
    pub from: NaiveDate,
    /// Last farm day asked for.
    pub to: NaiveDate,
    /// How long each span is.
    pub step: Step,
    /// The lines of these days, of the day before them, and of the [`WATCHED_DAYS`] before the last.
    pub lines: Vec<Line>,
    /// Each flock that should be gathered from.
    pub flocks: Vec<Flock>,
    /// Headcounts up to the last day, in the order in which they were taken.
    pub birds: Vec<Birds>,
    /// Names to show.
    pub names: Names,
    /// Only this coop.
    pub coop: Option<Id>,
}

/// Laying birds from a day on, until they are counted again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Birds {
    /// The farm day of the headcount.
    pub day: NaiveDate,
    /// Where.
    pub coop: Id,
    /// Which birds.
    pub species: Species,
    /// How many.
    pub birds: u32,
}

/// Trends over a span of farm days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trends {
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// How long each span is.
    pub step: Step,
    /// All coops together, by species; empty where one coop was asked for.
    pub species: Vec<Trend>,
    /// Each flock by itself, by coop and species.
    pub flocks: Vec<Trend>,
    /// The confidence of the intervals.
    pub confidence: f64,
    /// What a careful person would add.
    pub caution: &'static str,
}

/// One flock, or all birds of one species, over the spans.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trend {
    /// The coop; nothing for all coops together.
    pub coop: Option<Id>,
    /// The coop's name, or `all coops`.
    pub name: String,
    /// Whose eggs.
    pub species: Species,
    /// The spans in order, those that are unknown too.
    pub spans: Vec<TrendSpan>,
    /// The last span with a rate against the one before it: the rate, then each reason to pull eggs.
    pub changes: Vec<Comparison>,
    /// The watch for a drop over the last two weeks; for flocks only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub watch: Option<Watch>,
}

/// One day, week, month or year, as far as it was asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrendSpan {
    /// By ISO 8601: `2026-11-25`, `2026-W48`, `2026-11` or `2026`.
    pub label: String,
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// Days known and unknown; of several flocks, the days of each. All zero before there were any.
    pub days: Days,
    /// Known days that follow an unknown one: the eggs of both may be in the count.
    pub after_gap: u32,
    /// Eggs gathered; nothing where no day is known.
    pub eggs: Option<i64>,
    /// Of these, eggs not laid in a nest.
    pub floor_laid: i64,
    /// How the birds laid; nothing without a day that has both a gather and a headcount of birds.
    pub rate: Option<Rate>,
    /// Eggs pulled on these days, by reason. A flock that is not the only one of its species has
    /// only those of lots that name its coop.
    pub pulled: BTreeMap<String, i64>,
}

/// Eggs per hen and day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rate {
    /// Eggs of the days that count here.
    pub eggs: u64,
    /// Hens alive, summed over these days.
    pub hen_days: u64,
    /// The one over the other. Source: an international livestock glossary (hen-day production).
    pub per_hen_day: f64,
    /// Its Wilson interval; nothing where there are more eggs than hen-days, which a headcount that
    /// is out of date or a day that was missed can bring about.
    pub interval: Option<Interval>,
}

impl Trends {
    /// The trends worth showing: all coops together only where a species lives in several.
    pub fn shown(&self) -> Vec<&Trend> {
        let several = |all: &&Trend| {
            self.flocks
                .iter()
                .filter(|f| f.species == all.species)
                .count()
                > 1
        };
        self.species
            .iter()
            .filter(several)
            .chain(&self.flocks)
            .collect()
    }
}

/// Makes the trends of a span of days.
pub fn trends(input: &TrendInput) -> Trends {
    let flocks = flocks(input);
    let mut of_flocks: Vec<Trend> = flocks
        .iter()
        .map(|((coop, species), days)| {
            // Eggs of lots that name no coop are of all coops together; where there is only one,
            // they are its own.
            let only = input.coop.is_none()
                && flocks.keys().filter(|(_, other)| other == species).count() == 1;
            let pulled = |line: &Line| {
                line.species == *species
                    && (line.coop == Some(*coop) || (only && line.coop.is_none()))
            };
            let mut trend = Trend {
                coop: Some(*coop),
                name: name(&input.names, *coop),
                species: *species,
                spans: spans(input, &[days], &pulled),
                changes: Vec::new(),
                watch: Some(changes::watch(days, input.to)),
            };
            trend.changes = changes::changes(&trend.spans);
            trend
        })
        .collect();
    of_flocks.sort_by(|a, b| (&a.name, a.species, a.coop).cmp(&(&b.name, b.species, b.coop)));
    let all: BTreeSet<Species> = match input.coop {
        Some(_) => BTreeSet::new(),
        None => flocks.keys().map(|(_, species)| *species).collect(),
    };
    let species = all
        .into_iter()
        .map(|species| {
            let days: Vec<&FlockDays> = flocks
                .iter()
                .filter(|((_, s), _)| *s == species)
                .map(|(_, days)| days)
                .collect();
            let spans = spans(input, &days, &|line| line.species == species);
            Trend {
                coop: None,
                name: "all coops".into(),
                species,
                changes: changes::changes(&spans),
                spans,
                watch: None,
            }
        })
        .collect();
    Trends {
        from: input.from,
        to: input.to,
        step: input.step,
        species,
        flocks: of_flocks,
        confidence: CONFIDENCE,
        caution: FLOCK_CAUTION,
    }
}

/// The days of each flock that is known by its coop, its eggs or its headcount.
fn flocks(input: &TrendInput) -> BTreeMap<(Id, Species), FlockDays> {
    let mut all: BTreeMap<(Id, Species), FlockDays> = BTreeMap::new();
    for flock in input.flocks.iter().filter(|f| f.first <= input.to) {
        let days = all.entry((flock.coop, flock.species)).or_default();
        days.begin(flock.first);
        days.last = flock.last;
    }
    for line in &input.lines {
        if let Some(coop) = line.coop
            && matches!(
                line.measure,
                Measure::Rounds | Measure::Gathered | Measure::FloorLaid
            )
        {
            all.entry((coop, line.species)).or_default().add(line);
        }
    }
    for birds in &input.birds {
        let days = all.entry((birds.coop, birds.species)).or_default();
        days.begin(birds.day);
        days.birds.insert(birds.day, birds.birds);
    }
    all.retain(|(coop, _), days| {
        // A coop that was given up before the span has nothing to show in it.
        let used = days.last.is_none_or(|last| last >= input.from)
            || days.by_day.range(input.from..=input.to).next().is_some();
        used && input.coop.is_none_or(|only| only == *coop)
    });
    all
}

fn spans(
    input: &TrendInput,
    flocks: &[&FlockDays],
    pulled: &dyn Fn(&Line) -> bool,
) -> Vec<TrendSpan> {
    let mut spans: Vec<TrendSpan> = input
        .step
        .spans(input.from, input.to)
        .map(|(from, to)| span(input.step, from, to, flocks))
        .collect();
    for line in &input.lines {
        let culled = line.measure == Measure::Pulled && pulled(line);
        let at = spans.partition_point(|span| span.to < line.day);
        if let Some(span) = spans.get_mut(at)
            && culled
            && span.from <= line.day
        {
            let reason = line.detail.split('/').next().unwrap_or_default();
            *span.pulled.entry(reason.into()).or_default() += line.n;
        }
    }
    spans
}

fn span(step: Step, from: NaiveDate, to: NaiveDate, flocks: &[&FlockDays]) -> TrendSpan {
    let mut span = TrendSpan {
        label: step.label(from),
        from,
        to,
        days: Days::default(),
        after_gap: 0,
        eggs: None,
        floor_laid: 0,
        rate: None,
        pulled: BTreeMap::new(),
    };
    let (mut laid, mut hen_days) = (0_u64, 0_u64);
    for flock in flocks {
        for day in from.iter_days().take_while(|day| *day <= to) {
            let Some(known) = flock.known(day) else {
                span.days.unknown += u32::from(flock.due(day));
                continue;
            };
            span.days.known += 1;
            span.days.zero += u32::from(known.eggs == 0);
            span.after_gap += u32::from(flock.after_gap(day));
            *span.eggs.get_or_insert(0) += known.eggs;
            span.floor_laid += known.floor_laid;
            if let Some(hens) = flock.hens(day).filter(|hens| *hens > 0) {
                laid += u64::try_from(known.eggs).unwrap_or(0);
                hen_days += u64::from(hens);
            }
        }
    }
    span.rate = (hen_days > 0).then(|| Rate {
        eggs: laid,
        hen_days,
        per_hen_day: laid as f64 / hen_days as f64,
        interval: Proportion::new(laid, hen_days)
            .and_then(|share| share.wilson(CONFIDENCE))
            .ok(),
    });
    span
}

fn name(names: &Names, id: Id) -> String {
    names
        .get(&id)
        .cloned()
        .unwrap_or_else(|| format!("#{}", id.short()))
}
