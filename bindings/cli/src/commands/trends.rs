use std::path::PathBuf;

use chrono::{Days, NaiveDate};
use clap::builder::PossibleValuesParser;
use pointdown_core::book::trends::{Step, Trend, Trends};
use pointdown_core::farm::Farm;
use pointdown_core::paper::trend_chart;
use pointdown_core::record::{Id, Kind};
use serde_json::json;

use super::disk::write;
use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::moments::Calendar;
use crate::tables::Screen;

#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    #[command(flatten)]
    spans: Spans,
    /// Draw it too, as an SVG file; an older one is replaced.
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

/// Which spans of which coop.
#[derive(Debug, clap::Args)]
pub(crate) struct Spans {
    /// How long each span is.
    #[arg(long, default_value = "week", value_parser = steps())]
    by: String,
    /// The first day; unless given, so that about a dozen spans are shown.
    #[arg(long, value_name = "DAY")]
    from: Option<String>,
    /// The last day; today unless given.
    #[arg(long, value_name = "DAY")]
    to: Option<String>,
    /// Only this coop.
    #[arg(long)]
    coop: Option<String>,
}

fn steps() -> PossibleValuesParser {
    PossibleValuesParser::new(Step::ALL.iter().map(|step| step.code()))
}

/// What a command line asks for, checked.
pub(crate) struct Asked {
    pub(crate) step: Step,
    pub(crate) from: NaiveDate,
    pub(crate) to: NaiveDate,
    pub(crate) coop: Option<Id>,
}

impl Spans {
    pub(crate) fn read(&self, farm: &Farm) -> Result<Asked, Failure> {
        let calendar = Calendar::of(farm)?;
        let step = Step::from_code(&self.by)
            .ok_or_else(|| invalid("by", &self.by, "allowed are day, week, month and year"))?;
        let to = match &self.to {
            Some(text) => calendar.day("to", text)?,
            None => calendar.today,
        };
        let from = match &self.from {
            Some(text) => calendar.day("from", text)?,
            None => usual_start(step, to),
        };
        let coop = self.coop.as_deref();
        let coop = coop.map(|name| farm.find(Kind::Coop, name)).transpose()?;
        Ok(Asked {
            step,
            from,
            to,
            coop,
        })
    }
}

/// Two weeks of days, a quarter of weeks, a year of months, five years; from the first day of a span.
fn usual_start(step: Step, to: NaiveDate) -> NaiveDate {
    let back = match step {
        Step::Day => 13,
        Step::Week => 12 * 7,
        Step::Month => 11 * 30,
        Step::Year => 4 * 365,
    };
    let day = to.checked_sub_days(Days::new(back)).unwrap_or(to);
    let label = step.label(day);
    let same = day
        .iter_days()
        .rev()
        .take_while(|d| step.label(*d) == label);
    same.last().unwrap_or(day)
}

pub(crate) fn show(base: &Base, screen: &mut Screen<'_>, args: &Args) -> Result<(), Failure> {
    let farm = base.open()?;
    let asked = args.spans.read(&farm)?;
    let trends = farm.trends(asked.from, asked.to, asked.step, asked.coop)?;
    if let Some(file) = &args.svg {
        write(file, &trend_chart(&trends)?)?;
    }
    if screen.json {
        let mut all = json!(trends);
        if let Some(file) = &args.svg {
            all["svg"] = file.display().to_string().into();
        }
        return Ok(screen.value(&all)?);
    }
    print(&farm, screen, &trends)?;
    if let Some(file) = &args.svg {
        screen.title(format!("Drawn in {}", file.display()))?;
    }
    Ok(())
}

fn print(farm: &Farm, screen: &mut Screen<'_>, trends: &Trends) -> Result<(), Failure> {
    let name = farm.name()?.unwrap_or_else(|| "The farm".into());
    let (by, from, to) = (trends.step.code(), trends.from, trends.to);
    screen.line(format!("{name}, by {by}, {from} to {to}"))?;
    if trends.flocks.is_empty() {
        screen.line("No flock was there on these days.")?;
    }
    for trend in trends.shown() {
        one(screen, trend)?;
    }
    screen.title("Days without a gather are unknown, not zero: they count nowhere.")?;
    Ok(screen.line(trends.caution)?)
}

fn one(screen: &mut Screen<'_>, trend: &Trend) -> Result<(), Failure> {
    screen.title(format!("{}, {} eggs", trend.name, trend.species.code()))?;
    // A flock among several has nothing pulled where lots do not name their coop; that is no zero.
    let pulled = trend.coop.is_none() || trend.spans.iter().any(|s| !s.pulled.is_empty());
    let rows = trend.spans.iter().map(|span| {
        let (rate, range) = match span.rate {
            None => (String::new(), String::new()),
            Some(rate) => (
                format!("{:.1}", 100.0 * rate.per_hen_day),
                match rate.interval {
                    Some(i) => format!("{:.1} to {:.1}", 100.0 * i.low, 100.0 * i.high),
                    None => "count them".into(),
                },
            ),
        };
        [
            span.label.clone(),
            match span.eggs {
                Some(n) => n.to_string(),
                None if span.days.unknown > 0 => "unknown".into(),
                None => "not there".into(),
            },
            rate,
            range,
            span.days.known.to_string(),
            span.days.unknown.to_string(),
            if pulled {
                span.pulled.values().sum::<i64>().to_string()
            } else {
                String::new()
            },
        ]
    });
    let heading = [
        "when",
        "eggs",
        "per 100 birds",
        "range (95 %)",
        "days known",
        "unknown",
        "pulled",
    ];
    screen.table(heading, &[1, 2, 3, 4, 5, 6], rows)?;
    for change in &trend.changes {
        let mark = if change.more_than_luck { "! " } else { "  " };
        screen.line(format!("{mark}{}", change.why))?;
    }
    if let Some(watch) = &trend.watch {
        let mark = if watch.alarm == Some(true) {
            "! "
        } else {
            "  "
        };
        screen.line(format!("{mark}{}", watch.why.join(" ")))?;
        if let Some(since) = watch.since.filter(|_| watch.alarm == Some(true)) {
            screen.line(format!("! It is likeliest to have begun on {since}."))?;
        }
    }
    Ok(())
}
