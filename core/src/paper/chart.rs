use maud::{Markup, PreEscaped, html};

use super::page::number;
use super::words::percent;
use crate::book::trends::{Rate, Trend, TrendSpan, Trends};
use crate::record::InvalidRecord;

/// The style of every chart: light, dark, and black on white in print.
pub(super) const CHART_STYLE: &str = include_str!("style/chart.css");

/// The most spans that a chart shows; more would be too fine to see.
pub const MOST_SPANS: usize = 400;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 44.0;
const RIGHT: f64 = 30.0;
/// From a panel's top: where its parts begin and end.
const RATE: (f64, f64) = (46.0, 162.0);
const EGGS: (f64, f64) = (190.0, 250.0);
const PANEL: f64 = 284.0;

/// A picture of trends as an SVG file: for each flock how it laid, with the range that luck explains,
/// and the eggs gathered. Days that nobody knows about are hatched. It is drawn for print and for
/// screens, light or dark, and tells its content to a screen reader.
///
/// # Errors
/// More than [`MOST_SPANS`] spans.
pub fn trend_chart(trends: &Trends) -> Result<String, InvalidRecord> {
    can_be_drawn(trends)?;
    let all = trends.shown();
    Ok(svg(trends, &all, "trends").into_string())
}

pub(super) fn can_be_drawn(trends: &Trends) -> Result<(), InvalidRecord> {
    let spans = trends.step.spans(trends.from, trends.to).count();
    if spans <= MOST_SPANS {
        return Ok(());
    }
    let allowed = format!(
        "{spans} spans by {} are too fine to see; allowed are {MOST_SPANS}, or a longer step",
        trends.step.code()
    );
    Err(InvalidRecord::new("to", trends.to, allowed))
}

/// One picture with a panel for each of these trends. The id tells pictures of one page apart.
pub(super) fn svg(trends: &Trends, all: &[&Trend], id: &str) -> Markup {
    let height = PANEL * all.len().max(1) as f64;
    let names: Vec<String> = all.iter().map(|t| heading(t)).collect();
    let title = format!(
        "{}, by {}, {} to {}",
        names.join("; "),
        trends.step.code(),
        trends.from,
        trends.to
    );
    let told: Vec<String> = all.iter().map(|trend| told(trend)).collect();
    html! {
        svg.pd-chart xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (number(WIDTH)) " " (number(height)) }
            role="img" aria-labelledby={ (id) "-title " (id) "-desc" } {
            title id={ (id) "-title" } { (title) }
            desc id={ (id) "-desc" } { (told.join(" ")) }
            style { (PreEscaped(CHART_STYLE)) }
            defs {
                pattern id={ (id) "-gap" } patternUnits="userSpaceOnUse" width="5" height="5"
                    patternTransform="rotate(45)" {
                    path.hatch d="M1 0v5" {}
                }
            }
            rect.ground width=(number(WIDTH)) height=(number(height)) {}
            @for (n, trend) in all.iter().enumerate() {
                g transform={ "translate(0 " (number(PANEL * n as f64)) ")" } {
                    (panel(trend, &format!("url(#{id}-gap)")))
                }
            }
        }
    }
}

/// `North, hen eggs`.
pub(super) fn heading(trend: &Trend) -> String {
    format!("{}, {} eggs", trend.name, trend.species.code())
}

/// What the picture shows, for somebody who listens.
fn told(trend: &Trend) -> String {
    let mut said = vec![format!("{}.", heading(trend))];
    let rated: Vec<(&TrendSpan, Rate)> = trend
        .spans
        .iter()
        .filter_map(|s| Some((s, s.rate?)))
        .collect();
    if let [first, .., last] = rated.as_slice() {
        let by = |a: &&(&TrendSpan, Rate), b: &&(&TrendSpan, Rate)| {
            a.1.per_hen_day.total_cmp(&b.1.per_hen_day)
        };
        said.push(format!(
            "Eggs per 100 birds a day: {} in {}",
            hundred(first.1),
            first.0.label
        ));
        if let (Some(low), Some(high)) = (rated.iter().min_by(by), rated.iter().max_by(by)) {
            said.push(format!(
                "lowest {} in {}, highest {} in {},",
                hundred(low.1),
                low.0.label,
                hundred(high.1),
                high.0.label
            ));
        }
        said.push(format!("{} in {}.", hundred(last.1), last.0.label));
    } else if let [(span, rate)] = rated.as_slice() {
        said.push(format!(
            "Eggs per 100 birds a day: {} in {}.",
            hundred(*rate),
            span.label
        ));
    } else {
        said.push("No rate: no day has both a gather and a headcount.".into());
    }
    let eggs: i64 = trend.spans.iter().filter_map(|s| s.eggs).sum();
    let unknown: u32 = trend.spans.iter().map(|s| s.days.unknown).sum();
    said.push(format!(
        "{eggs} eggs gathered in all; {unknown} days unknown."
    ));
    said.join(" ")
}

fn hundred(rate: Rate) -> String {
    format!("{:.1}", 100.0 * rate.per_hen_day)
}

fn panel(trend: &Trend, gap: &str) -> Markup {
    let spans = &trend.spans;
    let column = (WIDTH - LEFT - RIGHT) / spans.len().max(1) as f64;
    let left = |n: usize| LEFT + column * n as f64;
    let middle = |n: usize| left(n) + column / 2.0;
    // Rates above one egg a hen and day are shown, and the scale says so.
    let highest = spans
        .iter()
        .filter_map(|s| s.rate)
        .map(|r| r.per_hen_day)
        .fold(1.0, f64::max);
    let rate_y = |share: f64| RATE.1 - (RATE.1 - RATE.0) * share / highest;
    let most = nice(spans.iter().filter_map(|s| s.eggs).max().unwrap_or(0));
    let eggs_y = |n: f64| EGGS.1 - (EGGS.1 - EGGS.0) * (n / most as f64).clamp(0.0, 1.0);
    // A label is some 62 wide.
    let every = (66.0 / column).ceil().max(1.0) as usize;
    let bar = (column * 0.7).min(34.0);
    html! {
        text.head x="0" y="16" { (heading(trend)) }
        text.name x=(number(LEFT)) y="36" { "eggs per 100 birds a day" }
        text.name x=(number(LEFT)) y=(number(EGGS.0 - 8.0)) { "eggs gathered" }
        @for (n, span) in spans.iter().enumerate() {
            @if span.eggs.is_none() && span.days.unknown > 0 {
                @let place = (left(n), column);
                (block(place, RATE, gap)) (block(place, EGGS, gap))
            }
        }
        @for share in [0.0, 0.5, 1.0] {
            (rule(rate_y(share), &number(100.0 * share)))
        }
        @for n in [0, most / 2, most] { (rule(eggs_y(n as f64), &n.to_string())) }
        path.line d=(line(spans, &middle, &rate_y)) {}
        @for (n, span) in spans.iter().enumerate() {
            @if let Some(rate) = span.rate { (mark(rate, middle(n), column, &rate_y)) }
            @if let Some(eggs) = span.eggs {
                @let y = eggs_y(eggs as f64);
                rect.bar x=(number(middle(n) - bar / 2.0)) y=(number(y)) width=(number(bar))
                    height=(number((EGGS.1 - y).max(0.6))) {}
                @if span.days.unknown > 0 {
                    // Under the bar, as wide as what is missing of it.
                    @let all = f64::from(span.days.known + span.days.unknown);
                    @let missing = bar * f64::from(span.days.unknown) / all;
                    (block((middle(n) + bar / 2.0 - missing, missing), (EGGS.1 + 2.0, EGGS.1 + 8.0), gap))
                }
            }
            @if (spans.len() - 1 - n).is_multiple_of(every) {
                text.label x=(number(middle(n))) y=(number(EGGS.1 + 20.0)) { (span.label) }
            }
        }
    }
}

/// A hatched field: nobody knows.
fn block((x, width): (f64, f64), (top, bottom): (f64, f64), gap: &str) -> Markup {
    html! {
        rect.gap x=(number(x)) y=(number(top)) width=(number(width)) height=(number(bottom - top))
            fill=(gap) {}
    }
}

fn rule(y: f64, label: &str) -> Markup {
    html! {
        path.rule d={ "M" (number(LEFT)) " " (number(y)) "H" (number(WIDTH - RIGHT)) } {}
        text.scale x=(number(LEFT - 6.0)) y=(number(y + 3.5)) { (label) }
    }
}

/// A rate with its range; a square without one where there are more eggs than hen-days.
fn mark(rate: Rate, x: f64, column: f64, y: &dyn Fn(f64) -> f64) -> Markup {
    let at = y(rate.per_hen_day);
    let size = (column * 0.28).clamp(1.1, 2.8);
    html! {
        @match rate.interval {
            Some(range) => {
                @let cap = size.min(column * 0.2);
                path.range d={
                    "M" (number(x)) " " (number(y(range.low))) "V" (number(y(range.high)))
                    "M" (number(x - cap)) " " (number(y(range.low))) "h" (number(2.0 * cap))
                    "M" (number(x - cap)) " " (number(y(range.high))) "h" (number(2.0 * cap))
                } {}
                circle.mark cx=(number(x)) cy=(number(at)) r=(number(size)) {}
            }
            None => rect.mark.odd x=(number(x - size)) y=(number(at - size)) width=(number(2.0 * size))
                height=(number(2.0 * size)) {},
        }
    }
}

/// The line from rate to rate; it breaks where a span is unknown.
fn line(spans: &[TrendSpan], x: &dyn Fn(usize) -> f64, y: &dyn Fn(f64) -> f64) -> String {
    let mut path = String::new();
    let mut pen = 'M';
    for (n, span) in spans.iter().enumerate() {
        match span.rate {
            Some(rate) => {
                path.push_str(&format!(
                    "{pen}{} {}",
                    number(x(n)),
                    number(y(rate.per_hen_day))
                ));
                pen = 'L';
            }
            None => pen = 'M',
        }
    }
    path
}

/// The next even round number, so that half of it is whole.
fn nice(n: i64) -> i64 {
    let mut unit = 2_i64;
    loop {
        for step in [1, 2, 3, 4, 5, 6, 8, 10, 12] {
            if n <= unit.saturating_mul(step) {
                return unit.saturating_mul(step);
            }
        }
        let next = unit.saturating_mul(10);
        if next == unit {
            return unit;
        }
        unit = next;
    }
}

/// A rate with its range, for tables.
pub(super) fn in_words(rate: Rate) -> (String, String) {
    let range = match rate.interval {
        Some(range) => format!("{:.1} to {:.1}", 100.0 * range.low, 100.0 * range.high),
        None => "more eggs than birds: count them".into(),
    };
    (hundred(rate), range)
}

/// A share with its range, for tables.
pub(super) fn share_in_words(share: f64, low: f64, high: f64) -> String {
    format!("{} ({} to {})", percent(share), percent(low), percent(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_ends_at_the_next_round_number() {
        for (n, end) in [
            (0, 2),
            (2, 2),
            (3, 4),
            (9, 10),
            (17, 20),
            (101, 120),
            (231, 240),
        ] {
            assert_eq!(nice(n), end, "{n}");
        }
        assert!(nice(i64::MAX) > 0);
    }
}
