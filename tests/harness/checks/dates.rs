use chrono::{DateTime, Datelike, NaiveDate, Utc};
use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, ToSpan};
use pointdown_core::trade::Species;
use pointdown_core::trade::clock::cold_deadline;
use pointdown_core::trade::dates::{LastDay, day_of_year, last_day, ordinal_date};
use pointdown_core::trade::rules::{HousePolicy, RulePack};

use super::{Check, Kind};

const JIFF: &str = "jiff 1.0 (independent calendar and time zones)";

fn day(y: i32, m: u32, d: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(y, m, d).unwrap_or_default()
}

fn jiff_day(y: i32, m: u32, d: u32) -> Option<Date> {
    Date::new(
        i16::try_from(y).ok()?,
        i8::try_from(m).ok()?,
        i8::try_from(d).ok()?,
    )
    .ok()
}

/// Days from packing (and laying on the same day) to the last day.
fn span(which: LastDay, pack: &RulePack, from: NaiveDate) -> f64 {
    last_day(which, from, from, pack, &HousePolicy::default())
        .ok()
        .and_then(|f| f.value)
        .map_or(f64::NAN, |last| {
            last.signed_duration_since(from).num_days() as f64
        })
}

pub(super) fn rows() -> Vec<Check> {
    let mut rows = day_numbers();
    let (us, eu) = (RulePack::us_federal(), RulePack::eu());
    let first = day(2026, 3, 1);
    let published = |name: &str, source: &str, expected, got| {
        Check::new(name, source, Kind::Published, expected, 0.0, got)
    };
    rows.push(published(
        "Best by: days from packing with the pack day as the first",
        "agency carton-labelling text: 45 days including the day of pack",
        45.0,
        span(LastDay::BestBy, &us, first) + 1.0,
    ));
    rows.push(published(
        "Sell by: days from packing with the pack day as the first (the cautious count)",
        "agency carton-labelling page: no more than 30 days",
        30.0,
        span(LastDay::SellBy, &us, first) + 1.0,
    ));
    rows.push(published(
        "Eggs of current production: oldest at packing, in days",
        "7 CFR 56.1, read in the 2015 edition",
        21.0,
        span(LastDay::PackBy, &us, first),
    ));
    rows.push(published(
        "EU: delivered to the consumer within days of laying (not 21)",
        "Austrian food-safety office on Delegated Reg. (EU) 2022/2258",
        28.0,
        span(LastDay::DeliverBy, &eu, first),
    ));
    rows.push(published(
        "EU: best before within days of laying",
        "UK guidance on Reg. (EC) 589/2008",
        28.0,
        span(LastDay::BestBy, &eu, first),
    ));
    rows.push(published(
        "EU: graded, marked and packed within days of laying",
        "EU summary of Reg. (EC) 589/2008",
        10.0,
        span(LastDay::PackBy, &eu, first),
    ));
    rows.extend(last_days(&us, &eu));
    rows.extend(thirty_six_hours(&us));
    rows
}

fn day_numbers() -> Vec<Check> {
    let mut rows = Vec::new();
    for (y, m, d) in [
        (2024, 2, 29),
        (2024, 3, 1),
        (2025, 3, 1),
        (2024, 5, 11),
        (2025, 5, 12),
        (2024, 12, 31),
        (2025, 12, 31),
        (2100, 3, 1),
    ] {
        let expected = jiff_day(y, m, d).map_or(f64::NAN, |j| f64::from(j.day_of_year()));
        rows.push(Check::new(
            format!("Day of the year of {y}-{m:02}-{d:02}"),
            JIFF,
            Kind::Published,
            expected,
            0.0,
            day_of_year(day(y, m, d)).parse().unwrap_or(f64::NAN),
        ));
    }
    rows.push(Check::new(
        "The example lot number 132 is 12 May of a common year",
        "7 CFR 56.37, read in the 2015 edition",
        Kind::Published,
        132.0,
        0.0,
        day_of_year(day(2025, 5, 12)).parse().unwrap_or(f64::NAN),
    ));
    // The strftime of the other library prints ordinal dates too.
    let theirs = jiff_day(2026, 3, 1).map(|j| j.strftime("%Y-%j").to_string());
    let same = theirs.is_some_and(|text| text == ordinal_date(day(2026, 3, 1)));
    rows.push(Check::new(
        "Ordinal date of 2026-03-01 as the library prints it (1: the same)",
        JIFF,
        Kind::Published,
        1.0,
        0.0,
        f64::from(u8::from(same)),
    ));
    rows
}

/// The last day itself, as a day of the year, against the other calendar.
fn last_days(us: &RulePack, eu: &RulePack) -> Vec<Check> {
    let mut rows = Vec::new();
    for (y, m, d) in [(2024, 2, 29), (2025, 3, 1), (2024, 12, 31)] {
        for (name, which, pack, days) in [
            ("US best by", LastDay::BestBy, us, 44),
            ("EU best before", LastDay::BestBy, eu, 28),
        ] {
            let expected = jiff_day(y, m, d).and_then(|j| j.checked_add(days.days()).ok());
            let from = day(y, m, d);
            let got = last_day(which, from, from, pack, &HousePolicy::default());
            let got = got.ok().and_then(|f| f.value);
            rows.push(Check::new(
                format!("{name} of eggs laid and packed {from}, as year + day of the year / 1000"),
                JIFF,
                Kind::Published,
                expected.map_or(f64::NAN, |j| {
                    f64::from(j.year()) + f64::from(j.day_of_year()) / 1000.0
                }),
                1e-9,
                got.map_or(f64::NAN, |g| {
                    f64::from(g.year()) + f64::from(g.ordinal()) / 1000.0
                }),
            ));
        }
    }
    rows
}

/// The hour on the wall when 36 hours are over, in nights of 23 and 25 hours.
fn thirty_six_hours(pack: &RulePack) -> Vec<Check> {
    let mut rows = Vec::new();
    for (zone, lay) in [
        ("America/New_York", "2026-03-07T18:00:00-05:00"),
        ("America/New_York", "2026-10-31T07:00:00-04:00"),
        ("America/Phoenix", "2026-03-07T18:00:00-07:00"),
        ("Europe/London", "2026-03-28T12:00:00+00:00"),
    ] {
        let wall = |t: Timestamp| t.in_tz(zone).map_or(f64::NAN, |z| f64::from(z.hour()));
        let expected = lay
            .parse::<Timestamp>()
            .and_then(|t| t.in_tz(zone))
            .and_then(|z| z.checked_add(SignedDuration::from_hours(36)))
            .map_or(f64::NAN, |z| f64::from(z.hour()));
        let deadline = lay
            .parse::<DateTime<Utc>>()
            .ok()
            .and_then(|lay| cold_deadline(Species::Hen, lay, pack))
            .and_then(|f| Timestamp::from_second(f.value.timestamp()).ok());
        rows.push(Check::new(
            format!("Hour on the wall 36 hours after {lay} in {zone}"),
            JIFF,
            Kind::Published,
            expected,
            0.0,
            deadline.map_or(f64::NAN, wall),
        ));
    }
    rows
}
