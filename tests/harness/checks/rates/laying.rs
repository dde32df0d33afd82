//! Hen-day and hen-housed production, feed and cost.

use chrono::NaiveDate;
use pointdown_core::trade::rates::{
    Convention, Flock, FlockChange, GatherDay, LayRate, Minor, RatesError, cost_per_dozen,
    feed_per_dozen, feed_per_kg_of_eggs, lay_rate,
};

use super::super::{Check, Kind};
use super::value;

/// A span of days from 1 March, all its eggs in the last day's gather.
fn span(days: u32, eggs: u32, flock: &Flock) -> Result<LayRate, RatesError> {
    let from = NaiveDate::from_ymd_opt(2026, 3, 1).unwrap_or_default();
    let to = from + chrono::Days::new(u64::from(days - 1));
    let gather = GatherDay {
        day: to,
        eggs: Some(eggs),
        covers: days,
    };
    lay_rate(from, to, &[gather], flock)
}

fn flock(housed: u32, changes: &[(u32, u32, u32)], convention: Convention) -> Flock {
    let change = |&(day, added, lost): &(u32, u32, u32)| FlockChange {
        day: NaiveDate::from_ymd_opt(2026, 3, day).unwrap_or_default(),
        added,
        lost,
    };
    Flock {
        housed,
        changes: changes.iter().map(change).collect(),
        convention,
    }
}

pub(super) fn rows() -> Vec<Check> {
    let textbook = "worked example of an agricultural arithmetic textbook";
    let article = "layer-farming article, hen-day and hen-housed";
    let plain = Convention::TEXTBOOK;
    let end_of_day = Convention {
        lost_bird_counts: true,
        new_bird_counts: false,
    };
    let may = span(31, 9_090_750, &flock(345_000, &[], plain));
    let march = span(31, 3_852, &flock(200, &[(12, 0, 4), (16, 10, 0)], plain));
    let march_counted = span(
        31,
        3_852,
        &flock(200, &[(12, 0, 4), (16, 10, 0)], end_of_day),
    );
    let one_day = span(1, 9_108, &flock(10_000, &[(1, 0, 100)], plain));
    let fifty = span(30, 1_184, &flock(50, &[(10, 0, 1)], end_of_day));
    let hen_days = |rate: &Result<LayRate, RatesError>| {
        rate.as_ref().map_or(f64::NAN, |rate| rate.hen_days as f64)
    };
    let hen_day = |rate: &Result<LayRate, RatesError>| {
        rate.as_ref()
            .ok()
            .and_then(|rate| rate.hen_day_percent)
            .unwrap_or(f64::NAN)
    };
    let housed = |rate: &Result<LayRate, RatesError>| {
        rate.as_ref()
            .ok()
            .and_then(|rate| rate.hen_housed_percent)
            .unwrap_or(f64::NAN)
    };
    let (seen, memory) = (Kind::Published, Kind::Memory);
    let arithmetic = "arithmetic from the published definition";
    let formula = "arithmetic from the formula of a national agricultural e-course";
    let cents = |cost: i64, eggs| value(cost_per_dozen(Minor(cost), eggs).map(|c| c.0 as f64));
    [
        (
            "hen-days, 345,000 hens in May",
            textbook,
            seen,
            10_695_000.0,
            0.0,
            hen_days(&may),
        ),
        (
            "hen-day %, 345,000 hens in May",
            textbook,
            seen,
            85.0,
            0.005,
            hen_day(&may),
        ),
        (
            "hen-days, 200 birds, 4 die, 10 added",
            textbook,
            seen,
            6270.0,
            0.0,
            hen_days(&march),
        ),
        (
            "hen-day %, 200 birds, 4 die, 10 added",
            textbook,
            seen,
            61.4,
            0.05,
            hen_day(&march),
        ),
        (
            "same, the day of death counted",
            arithmetic,
            memory,
            6274.0,
            0.0,
            hen_days(&march_counted),
        ),
        (
            "hen-day %, 10,000 housed, 100 dead",
            article,
            seen,
            92.0,
            0.005,
            hen_day(&one_day),
        ),
        (
            "hen-housed %, 10,000 housed, 100 dead",
            article,
            seen,
            91.08,
            0.005,
            housed(&one_day),
        ),
        (
            "hen-days, 50 hens, one dies on day 10",
            arithmetic,
            memory,
            1480.0,
            0.0,
            hen_days(&fifty),
        ),
        (
            "hen-day %, 50 hens, one dies on day 10",
            arithmetic,
            memory,
            80.0,
            1e-9,
            hen_day(&fifty),
        ),
        (
            "hen-housed %, the same",
            arithmetic,
            memory,
            78.93,
            0.005,
            housed(&fifty),
        ),
        // 100 hens: 25, 22, 25 and 28 lb of feed a day, 80, 90, 70 and 60 eggs.
        (
            "feed a dozen, 0.25 lb at 80 %",
            formula,
            memory,
            3.75,
            1e-9,
            value(feed_per_dozen(25.0, 80)),
        ),
        (
            "feed a dozen, 0.22 lb at 90 %",
            formula,
            memory,
            2.93,
            0.005,
            value(feed_per_dozen(22.0, 90)),
        ),
        (
            "feed a dozen, 0.25 lb at 70 %",
            formula,
            memory,
            4.29,
            0.005,
            value(feed_per_dozen(25.0, 70)),
        ),
        (
            "feed a dozen, 0.28 lb at 60 %",
            formula,
            memory,
            5.60,
            1e-9,
            value(feed_per_dozen(28.0, 60)),
        ),
        (
            "feed a kg of eggs, 110 g at 85 %, 60 g eggs",
            formula,
            memory,
            2.157,
            0.0005,
            value(feed_per_kg_of_eggs(11.0, 85, 60.0)),
        ),
        (
            "cost a dozen, 4,250 cents for 170 eggs",
            arithmetic,
            memory,
            300.0,
            0.0,
            cents(4250, 170),
        ),
        (
            "cost a dozen, 1 cent for 24 eggs: half up",
            arithmetic,
            memory,
            1.0,
            0.0,
            cents(1, 24),
        ),
        (
            "cost a dozen, 1 cent for 25 eggs: down",
            arithmetic,
            memory,
            0.0,
            0.0,
            cents(1, 25),
        ),
    ]
    .map(|(name, source, kind, expected, tolerance, got)| {
        Check::new(name, source, kind, expected, tolerance, got)
    })
    .into()
}
