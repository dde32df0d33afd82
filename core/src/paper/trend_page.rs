use std::collections::BTreeMap;

use maud::{Markup, html};

use super::chart::{CHART_STYLE, can_be_drawn, heading, in_words, share_in_words, svg};
use super::figures::{cups, mark};
use super::page::{Sheet, document, number};
use super::words::{counted, plain};
use super::{Page, Paper};
use crate::book::trends::{Trend, TrendSpan, Trends};
use crate::record::InvalidRecord;
use crate::trade::rates::Proportion;

/// Trends for print and for a screen: the picture of each flock, and beside it the table with the
/// same figures, the reasons to pull eggs, and what changed.
///
/// # Errors
/// More spans than a chart can show.
pub fn trend_page(farm: &str, trends: &Trends, paper: Paper) -> Result<Page, InvalidRecord> {
    can_be_drawn(trends)?;
    let title = format!(
        "{farm}, by {}, {} to {}",
        trends.step.code(),
        trends.from,
        trends.to
    );
    let all = trends.shown();
    let body = html! {
        main {
            header.top {
                (mark())
                div {
                    h1 { "How they lay" }
                    p.soft { (title) }
                }
            }
            (cups())
            p.key {
                "Each ring is a rate, and its bar the range that luck alone explains (95 %). Hatched: nobody \
                 knows; it counts as neither eggs nor hen-days. A hatched foot under a column: some of its \
                 days are unknown."
            }
            @if all.is_empty() { p { "No flock was there on these days." } }
            @for (n, trend) in all.iter().enumerate() {
                section {
                    figure { (svg(trends, &[trend], &format!("flock-{n}"))) }
                    (table(trend))
                    (pulled(trend, trends.confidence))
                    (changed(trend))
                }
            }
            footer.caution {
                p { (trends.caution) }
                p.small { "Eggs per 100 birds a day (hen-day production): eggs of the days with a gather and a headcount, over the birds \
                    of these days; source: an international livestock glossary. Range: Wilson's score \
                    interval; source: Statistics in Medicine 17:857–872 (1998)." }
            }
        }
    };
    let style = include_str!("style/trends.css");
    Ok(document(
        &title,
        &Sheet::upright(paper),
        style,
        &[CHART_STYLE],
        body,
    ))
}

fn table(trend: &Trend) -> Markup {
    // A flock among several has nothing pulled where lots do not name their coop; that is no zero.
    let pulled = trend.coop.is_none() || trend.spans.iter().any(|s| !s.pulled.is_empty());
    html! {
        table {
            caption.small { (heading(trend)) ", in figures" }
            thead { tr {
                th scope="col" { "when" }
                th.num scope="col" { "eggs" }
                th.num scope="col" { "per 100 birds" }
                th.num scope="col" { "range" }
                th.num scope="col" { "hen-days" }
                th.num scope="col" { "days known" }
                th.num scope="col" { "unknown" }
                th.num scope="col" { "floor-laid" }
                @if pulled { th.num scope="col" { "pulled" } }
            } }
            tbody { @for span in &trend.spans { (row(span, pulled)) } }
        }
        @if trend.spans.iter().any(|span| span.after_gap > 0) {
            p.small.soft { "Some counts follow an unknown day, and may hold its eggs too." }
        }
    }
}

fn row(span: &TrendSpan, pulled: bool) -> Markup {
    let rate = span.rate.map(in_words);
    html! {
        tr {
            th scope="row" { (span.label) }
            @match span.eggs {
                Some(n) => td.num { (n) },
                None if span.days.unknown > 0 => td.num.unknown { "unknown" },
                None => td.num.unknown { "not there" },
            }
            @match rate {
                Some((rate, range)) => { td.num { (rate) } td.num.range { (range) } }
                None => { td.num {} td.num {} }
            }
            td.num { @if let Some(rate) = span.rate { (rate.hen_days) } }
            td.num { (span.days.known) }
            td.num { (span.days.unknown) }
            td.num { @if span.eggs.is_some() { (span.floor_laid) } }
            @if pulled { td.num { (span.pulled.values().sum::<i64>()) } }
        }
    }
}

/// The reasons to pull eggs over all spans, the most frequent first.
fn pulled(trend: &Trend, confidence: f64) -> Markup {
    let mut reasons: BTreeMap<&str, i64> = BTreeMap::new();
    for span in &trend.spans {
        for (reason, n) in &span.pulled {
            *reasons.entry(reason).or_default() += n;
        }
    }
    let mut reasons: Vec<(&str, i64)> = reasons.into_iter().filter(|(_, n)| *n > 0).collect();
    reasons.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    let gathered: i64 = trend.spans.iter().filter_map(|span| span.eggs).sum();
    let share = |n: i64| {
        let (events, of) = (u64::try_from(n).ok()?, u64::try_from(gathered).ok()?);
        let share = Proportion::new(events, of).ok()?;
        let range = share.wilson(confidence).ok()?;
        Some(share_in_words(share.share(), range.low, range.high))
    };
    let most = reasons.first().map_or(1, |(_, n)| *n) as f64;
    html! {
        @if !reasons.is_empty() {
            table.keep.reasons {
                caption.small { "Pulled, by reason" }
                thead { tr {
                    th scope="col" { "reason" } th.num scope="col" { "eggs" } th.draw {}
                    th.num scope="col" { "of the eggs gathered" }
                } }
                tbody {
                    @for (reason, n) in reasons {
                        tr {
                            th scope="row" { (plain(reason)) }
                            td.num { (n) }
                            td.draw {
                                svg viewBox="0 0 100 6" preserveAspectRatio="none" aria-hidden="true" {
                                    rect width=(number(100.0 * n as f64 / most)) height="6" {}
                                }
                            }
                            td.num.range { @if let Some(share) = share(n) { (share) } @else { "more than was gathered" } }
                        }
                    }
                }
            }
        }
    }
}

fn changed(trend: &Trend) -> Markup {
    let alarm = trend.watch.as_ref().and_then(|watch| watch.alarm);
    html! {
        @if !trend.changes.is_empty() || trend.watch.is_some() {
            div.changed {
                h3 { "What changed" }
                ul {
                    @for change in &trend.changes {
                        li.alarm[change.more_than_luck] {
                            @if change.more_than_luck { b { "Changed. " } }
                            (change.why) "."
                        }
                    }
                    @if let Some(watch) = &trend.watch {
                        li.alarm[alarm == Some(true)] {
                            @if alarm == Some(true) { b { "Drop. " } }
                            (watch.why.join(" "))
                            @if let Some(since) = watch.since.filter(|_| alarm == Some(true)) {
                                " It is likeliest to have begun on " (since) "."
                            }
                        }
                    }
                }
                @if trend.spans.iter().any(|s| s.days.unknown > 0) {
                    p.small.soft { (counted(i64::from(trend.spans.iter().map(|s| s.days.unknown).sum::<u32>()), "day")) " unknown in all." }
                }
            }
        }
    }
}
