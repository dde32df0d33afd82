//! How the flocks lay, by day, week or month: bars, and the same as a table.

use std::sync::Arc;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use chrono::{Days, NaiveDate};
use data_encoding::BASE64;
use maud::{Markup, html};
use pointdown_core::book::trends::{Step, Trend, TrendSpan, Trends};
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::paper::trend_chart;
use pointdown_core::trade::Species;
use serde::Deserialize;
use sha2::{Digest as _, Sha256};

use super::door;
use super::frame::{Farmyard, Page, Tab, page};
use super::pictures::egg;
use super::seat::{Guest, Seat, look};
use super::words::Words;
use crate::app::App;
use crate::error::ApiError;
use crate::openapi::Refused;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    by: Option<Step>,
    species: Option<Species>,
    language: Option<String>,
}

impl Ask {
    fn step(&self) -> Step {
        self.by.unwrap_or(Step::Week)
    }

    fn with(step: Step, species: Option<Species>) -> String {
        let species = species.map_or(String::new(), |s| format!("&species={}", s.code()));
        format!("by={}{species}", step.code())
    }
}

/// How far back: two weeks of days, a quarter of weeks, a year of months, five years.
fn first(step: Step, today: NaiveDate) -> NaiveDate {
    let days = match step {
        Step::Day => 13,
        Step::Week => 7 * 12,
        Step::Month => 365,
        Step::Year => 5 * 366,
    };
    today.checked_sub_days(Days::new(days)).unwrap_or(today)
}

/// Only one species, where one was asked for; and whose eggs there are at all.
fn read(farm: &Farm, ask: &Ask, today: NaiveDate) -> Result<(Trends, Vec<Species>), FarmError> {
    let step = ask.step();
    let mut all = farm.trends(first(step, today), today, step, None)?;
    let mut kinds: Vec<Species> = all.flocks.iter().map(|t| t.species).collect();
    kinds.sort();
    kinds.dedup();
    // Before there were any birds there is nothing to tell.
    for trend in all.species.iter_mut().chain(&mut all.flocks) {
        let begun = |s: &TrendSpan| s.days.known + s.days.unknown > 0;
        let first = trend.spans.iter().position(begun);
        trend.spans.drain(..first.unwrap_or(0));
    }
    if let Some(species) = ask.species {
        all.species.retain(|t| t.species == species);
        all.flocks.retain(|t| t.species == species);
    }
    Ok((all, kinds))
}

/// How the flocks lay, by day, week or month.
#[utoipa::path(
    get, path = "/kitchen/trends", tag = "kitchen screen",
    params(("by" = Option<String>, Query, description = "day, week, month or year; week without it."),
           ("species" = Option<String>, Query, description = "Only this one.")),
    responses(
        (status = 200, description = "The page.", body = String, content_type = "text/html"),
        (status = 400, description = "Something is not allowed; it is named.", body = Refused),
    )
)]
pub(super) async fn trends(
    State(app): State<Arc<App>>,
    guest: Guest,
    ask: Result<Query<Ask>, QueryRejection>,
) -> Result<Response, ApiError> {
    let Query(ask) = ask?;
    if let Some(language) = &ask.language {
        return door::speak(language, Tab::Trends.path());
    }
    let Some(seat) = guest.seat else {
        return Ok(door::door(guest.words, None).into_response());
    };
    let (farm, step, species) = (seat.device.farm, ask.step(), ask.species);
    let (yard, (trends, kinds)) = look(app, farm, move |app, farm| {
        let yard = Farmyard::read(farm, app.now())?;
        let read = read(farm, &ask, yard.today)?;
        Ok((yard, read))
    })
    .await?;
    Ok(show(&seat, &yard, &trends, &kinds, (step, species)))
}

/// The whole chart as one picture that can be saved and printed.
#[utoipa::path(
    get, path = "/kitchen/chart", tag = "kitchen screen", security(("screen" = [])),
    params(("by" = Option<String>, Query, description = "day, week, month or year; week without it."),
           ("species" = Option<String>, Query, description = "Only this one.")),
    responses(
        (status = 200, description = "An SVG file.", body = String, content_type = "image/svg+xml"),
        (status = 400, description = "Something is not allowed; it is named.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
    )
)]
pub(super) async fn chart(
    State(app): State<Arc<App>>,
    seat: Seat,
    ask: Result<Query<Ask>, QueryRejection>,
) -> Result<Response, ApiError> {
    let Query(ask) = ask?;
    let svg = look(app, seat.device.farm, move |_, farm| {
        let (trends, _) = read(farm, &ask, farm.today()?)?;
        Ok(trend_chart(&trends)?)
    })
    .await?;
    // The picture brings its style along; nothing else may run or load in it.
    let style = svg
        .split_once("<style>")
        .and_then(|(_, rest)| rest.split_once("</style>"))
        .map_or("", |(style, _)| style);
    let hash = BASE64.encode(&Sha256::digest(style));
    let policy = format!("default-src 'none'; style-src 'sha256-{hash}'; frame-ancestors 'none'");
    let mut response = svg.into_response();
    let headers = response.headers_mut();
    let policy = HeaderValue::from_str(&policy).map_err(|_| ApiError::internal())?;
    headers.insert(header::CONTENT_SECURITY_POLICY, policy);
    for (name, value) in [
        (header::CONTENT_TYPE, "image/svg+xml"),
        (
            header::CONTENT_DISPOSITION,
            "inline; filename=\"trends.svg\"",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    Ok(response)
}

fn show(
    seat: &Seat,
    yard: &Farmyard,
    trends: &Trends,
    kinds: &[Species],
    (step, species): (Step, Option<Species>),
) -> Response {
    let words = seat.words;
    let link = |step, species| format!("/kitchen/trends?{}", Ask::with(step, species));
    let chosen = |yes: bool| yes.then_some("true");
    let all = trends.shown();
    let body = html! {
        h1 { (words.t("kitchen.trends")) }
        nav class="days" aria-label=(words.t("kitchen.trends.by")) {
            @for one in [Step::Day, Step::Week, Step::Month] {
                a class="button" id={ "by-" (one.code()) } href=(link(one, species)) aria-current=[chosen(one == step)] {
                    (words.t(&format!("kitchen.trends.{}", one.code())))
                }
            }
        }
        @if kinds.len() > 1 {
            nav class="days" aria-label=(words.t("species")) {
                a class="button" id="of-all" href=(link(step, None)) aria-current=[chosen(species.is_none())] { (words.t("kitchen.trends.all")) }
                @for one in kinds {
                    a class="button" id={ "of-" (one.code()) } href=(link(step, Some(*one))) aria-current=[chosen(species == Some(*one))] {
                        (egg(*one)) (words.species(*one))
                    }
                }
            }
        }
        @if all.is_empty() { p class="card" { (words.t("gather.no_coop")) } }
        div class="charts" {
            @for (n, trend) in all.iter().enumerate() { (one(words, step, trend, n)) }
        }
        p class="about" { (words.t("kitchen.trends.note")) }
        p class="caution" lang="en" { (trends.caution) }
        p { a href={ "/kitchen/chart?" (Ask::with(step, species)) } { (words.t("kitchen.trends.chart")) } }
    };
    let page_ = Page {
        tab: Tab::Trends,
        title: words.t("kitchen.trends"),
        said: String::new(),
        notice: None,
        body,
        live: true,
    };
    page(seat, yard, page_)
}

/// The name of a span for people.
fn label(words: Words, step: Step, span: &TrendSpan) -> String {
    match step {
        Step::Day => words.short_day(span.from),
        Step::Week => words.fill(
            "kitchen.trends.from",
            &[("day", &words.short_day(span.from))],
        ),
        Step::Month => words.month(span.from),
        Step::Year => span.label.clone(),
    }
}

fn one(words: Words, step: Step, trend: &Trend, n: usize) -> Markup {
    let name = match trend.coop {
        Some(_) => trend.name.clone(),
        None => words.t("kitchen.trends.all_coops"),
    };
    let heading = format!("{name}, {}", words.species(trend.species));
    let gaps = trend.spans.iter().any(|s| s.days.unknown > 0);
    html! {
        section class="card" aria-labelledby={ "t-" (n) } {
            h2 id={ "t-" (n) } { (egg(trend.species)) " " (heading) }
            (bars(trend))
            @if gaps { p class="about small" { (words.t("kitchen.trends.hatched")) } }
            div class="scroll" tabindex="0" role="group" aria-label=(heading) {
                table {
                    caption class="unseen" { (heading) }
                    thead { tr {
                        th scope="col" { (words.t("kitchen.trends.span")) }
                        th scope="col" class="num" { (words.t("kitchen.eggs")) }
                        th scope="col" class="num" { (words.t("kitchen.trends.rate")) }
                        th scope="col" class="num" { (words.t("flow.pulled")) }
                        th scope="col" class="num" { (words.t("kitchen.trends.unknown")) }
                    } }
                    tbody {
                        @for span in trend.spans.iter().rev() {
                            tr {
                                th scope="row" { (label(words, step, span)) }
                                td class="num" { (span.eggs.map_or_else(|| "–".into(), |n| words.num(n))) }
                                td class="num" { (rate(words, span)) }
                                td class="num" { (words.num(span.pulled.values().sum())) }
                                td class="num" { (words.num(i64::from(span.days.unknown))) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Eggs of a hundred birds a day, with the range that luck explains.
fn rate(words: Words, span: &TrendSpan) -> String {
    let Some(rate) = span.rate else {
        return "–".into();
    };
    let hundred = |share: f64| words.decimal(100.0 * share, 0);
    match rate.interval {
        Some(of) => format!(
            "{} ({}–{})",
            hundred(rate.per_hen_day),
            hundred(of.low),
            hundred(of.high)
        ),
        None => hundred(rate.per_hen_day),
    }
}

const WIDTH: f64 = 320.0;
const TALL: f64 = 88.0;

/// Eggs as bars; hatched where nobody logged. The table under it says the same.
fn bars(trend: &Trend) -> Markup {
    let most = trend
        .spans
        .iter()
        .filter_map(|s| s.eggs)
        .max()
        .unwrap_or(0)
        .max(1) as f64;
    let each = WIDTH / trend.spans.len().max(1) as f64;
    let bar = (each * 0.78).min(34.0);
    let last = trend.spans.len().saturating_sub(1);
    html! {
        svg class={ "bars " (trend.species.code()) } viewBox="0 0 320 100" aria-hidden="true" focusable="false" {
            path class="ground" d="M0 96.5H320" {}
            @for (n, span) in trend.spans.iter().enumerate() {
                @let x = each * n as f64 + (each - bar) / 2.0;
                @let tall = span.eggs.map_or(TALL, |eggs| (eggs as f64 / most * TALL).max(1.5));
                @if span.eggs.is_some() || span.days.unknown > 0 {
                    rect class=(match span.eggs { None => "unknown", Some(_) if n == last => "now", _ => "bar" })
                        x=(format!("{x:.1}")) y=(format!("{:.1}", 96.0 - tall)) width=(format!("{bar:.1}"))
                        height=(format!("{tall:.1}")) rx="2" {}
                }
            }
        }
    }
}
