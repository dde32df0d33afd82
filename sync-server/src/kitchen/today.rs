//! The day: its totals, large; the flow from nest to out; what is due; what waits for a decision.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use chrono::{Days, NaiveDate};
use maud::{Markup, html};
use pointdown_core::book::due::Now;
use pointdown_core::book::review::Weight;
use pointdown_core::book::{Place, Sheet};
use serde::Deserialize;

use super::door;
use super::due;
use super::frame::{Farmyard, Page, Tab, page};
use super::pictures::{egg, icon};
use super::seat::{Guest, Seat, devices, look};
use super::sentence::{about, who};
use super::words::Words;
use crate::app::App;
use crate::error::ApiError;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    day: Option<NaiveDate>,
    language: Option<String>,
}

/// What the page shows.
struct Day {
    yard: Farmyard,
    day: NaiveDate,
    sheet: Sheet,
    now: Option<Now>,
    names: BTreeMap<pointdown_core::record::Id, String>,
    /// When the last phone was heard.
    heard: Option<i64>,
}

/// The day's totals, the flow, and what is due. Not let in, a page that asks for an invite.
#[utoipa::path(
    get, path = "/kitchen", tag = "kitchen screen",
    params(("day" = Option<String>, Query, description = "Which farm day; today without it."),
           ("language" = Option<String>, Query, description = "en or es, from now on.")),
    responses(
        (status = 200, description = "The page.", body = String, content_type = "text/html"),
        (status = 400, description = "Something is not allowed; it is named.",
         body = crate::openapi::Refused),
    )
)]
pub(super) async fn today(
    State(app): State<Arc<App>>,
    guest: Guest,
    ask: Result<Query<Ask>, QueryRejection>,
) -> Result<Response, ApiError> {
    let Query(ask) = ask?;
    if let Some(language) = &ask.language {
        return door::speak(language, Tab::Today.path());
    }
    let Some(seat) = guest.seat else {
        return Ok(door::door(guest.words, None).into_response());
    };
    let farm = seat.device.farm;
    let devices = devices(&app, farm).await?;
    let shown = look(app, farm, move |app, farm| {
        let yard = Farmyard::read(farm, app.now())?;
        let day = ask.day.unwrap_or(yard.today);
        let heard = devices.iter().filter(|d| d.revoked_at.is_none());
        Ok(Day {
            sheet: farm.sheet(day, day)?,
            now: (day == yard.today).then(|| farm.now()).transpose()?,
            names: farm.names()?,
            heard: heard.filter_map(|d| d.heard_at).max(),
            day,
            yard,
        })
    })
    .await?;
    Ok(show(&seat, shown))
}

fn show(seat: &Seat, shown: Day) -> Response {
    let words = seat.words;
    let is_today = shown.day == shown.yard.today;
    let gathered = &shown.sheet.gathered;
    let long = words.long_day(shown.day);
    let title = match is_today {
        true => words.fill("kitchen.today", &[("day", &long)]),
        false => long.clone(),
    };
    let known = gathered.by_coop.iter().any(|row| row.eggs.is_some());
    let total = match known {
        true => format!(
            "{} {}",
            words.num(gathered.eggs),
            words.n("today.gathered", gathered.eggs, &[])
        ),
        false => nobody(words, is_today),
    };
    let by: Vec<String> = gathered
        .by_species
        .iter()
        .map(|(species, n)| format!("{} {}", words.num(*n), words.species(*species)))
        .collect();
    let said = format!("{long}: {total}. {}", by.join(", "));
    let body = html! {
        div class="heading" { h1 { (title) } (days(words, &shown, is_today)) }
        (glance(words, &shown, known, is_today))
        (flow(words, &shown.sheet, is_today))
        div class="columns" {
            @if is_today { (decisions(words, &shown)) }
            @if let Some(now) = &shown.now { (due::due(words, shown.yard.zone, now)) }
            (coops(words, &shown.sheet, is_today))
            (gatherers(words, &shown.sheet))
            (work(words, &shown))
        }
        @if let Some(heard) = shown.heard {
            p class="about heard" {
                (words.fill("kitchen.heard", &[("ago", &words.ago(shown.yard.now - heard))])) " "
                a href=(Tab::People.path()) { (words.t("kitchen.heard.more")) }
            }
        }
    };
    let page_ = Page {
        tab: Tab::Today,
        title,
        said,
        notice: None,
        body,
        live: true,
    };
    page(seat, &shown.yard, page_)
}

/// Nothing logged is not known; it is never shown as zero.
fn nobody(words: Words, is_today: bool) -> String {
    match is_today {
        true => words.t("kitchen.nobody_yet"),
        false => words.t("kitchen.unknown"),
    }
}

fn days(words: Words, shown: &Day, is_today: bool) -> Markup {
    let to = |day: NaiveDate| format!("/kitchen?day={day}");
    let next = shown.day.checked_add_days(Days::new(1));
    html! {
        nav class="days" aria-label=(words.t("kitchen.days")) {
            @if let Some(before) = shown.day.checked_sub_days(Days::new(1)) {
                a class="button" id="before" href=(to(before)) rel="prev" { "‹ " (words.t("today.before")) }
            }
            @if !is_today {
                @if let Some(next) = next.filter(|next| *next < shown.yard.today) {
                    a class="button" id="after" href=(to(next)) rel="next" { (words.t("today.after")) " ›" }
                }
                a class="button" id="now" href="/kitchen" { (words.t("nav.today")) }
            }
        }
    }
}

/// The egg before the light in a dark room, and beside it each species.
fn glance(words: Words, shown: &Day, known: bool, is_today: bool) -> Markup {
    let gathered = &shown.sheet.gathered;
    let missing = gathered.by_coop.iter().filter(|row| row.eggs.is_none());
    let missing = if known { missing.count() as i64 } else { 0 };
    let number = words.num(gathered.eggs);
    html! {
        section class="glance" aria-labelledby="gathered" {
            h2 class="unseen" id="gathered" { (words.t("kitchen.gathered")) }
            div class="candle" {
                @if known {
                    p class="egg" {
                        b class=[(number.chars().count() > 3).then_some("long")] { (number) }
                        span { (words.n("today.gathered", gathered.eggs, &[])) }
                    }
                } @else {
                    p class="egg unknown" { span { (nobody(words, is_today)) } }
                }
            }
            div class="side" {
                @if !gathered.by_species.is_empty() {
                    ul class="kinds" {
                        @for (species, n) in &gathered.by_species {
                            li { (egg(*species)) b { (words.num(*n)) } span { (words.species(*species)) } }
                        }
                    }
                }
                @if missing > 0 {
                    p class="missing" {
                        @if is_today { (words.n("kitchen.to_gather", missing, &[])) }
                        @else { (words.n("kitchen.not_gathered", missing, &[])) }
                    }
                }
            }
        }
    }
}

fn flow(words: Words, sheet: &Sheet, is_today: bool) -> Markup {
    let stands = |place: Place| -> i64 {
        let here = sheet.on_hand.iter().filter(|row| row.station == place);
        here.map(|row| row.eggs).sum()
    };
    let out: i64 = sheet
        .out
        .eggs
        .iter()
        .filter(|(way, _)| *way != "returned")
        .map(|(_, n)| n)
        .sum();
    let done = match is_today {
        true => words.t("kitchen.flow.today"),
        false => words.t("kitchen.flow.that_day"),
    };
    let here = match is_today {
        true => words.t("kitchen.flow.now"),
        false => words.t("kitchen.flow.at_end"),
    };
    let steps = [
        ("nest", sheet.gathered.eggs, &done),
        ("basket", stands(Place::Basket), &here),
        ("washed", sheet.washed.values().sum(), &done),
        ("candled", sheet.candled.values().sum(), &done),
        (
            "cartoned",
            sheet.cartoned.iter().map(|run| run.eggs).sum(),
            &done,
        ),
        ("shelf", stands(Place::Cartoned), &here),
        ("out", out, &done),
    ];
    let clean = stands(Place::Clean);
    let lost: i64 = sheet.unaccounted.values().sum();
    html! {
        section aria-labelledby="flow" {
            h2 id="flow" { (words.t("kitchen.flow")) }
            ol class="flow" {
                @for (name, n, when) in steps {
                    li class=[(n < 0).then_some("bad")] {
                        (icon(name))
                        b { (words.num(n)) }
                        span { (words.t(&format!("kitchen.flow.{name}"))) small { (when) } }
                    }
                }
            }
            p class="beside" {
                @if clean > 0 { span { (words.n("kitchen.clean", clean, &[])) } " " }
                @if sheet.pulled.eggs != 0 { span { (words.n("kitchen.pulled", sheet.pulled.eggs, &[])) } " " }
                @if lost != 0 { span class="bad" { (words.n(if lost > 0 { "kitchen.lost" } else { "kitchen.found" }, lost.abs(), &[])) } }
            }
        }
    }
}

/// The first lines of the review list, and the way to it.
fn decisions(words: Words, shown: &Day) -> Markup {
    let all = &shown.yard.findings;
    let most_urgent = all.first().is_some_and(|f| f.weight == Weight::Urgent);
    html! {
        section class=(if most_urgent { "card finding urgent" } else { "card" }) aria-labelledby="decide" {
            h2 id="decide" { (icon("review")) " " (words.t("nav.review")) }
            @if all.is_empty() {
                p class="calm" { (icon("done")) " " (words.t("review.empty")) }
            } @else {
                ul class="rows" {
                    @for finding in all.iter().take(3) { li {
                        (about(words, finding, &shown.names))
                        small {
                            (words.fill("kitchen.since", &[("at", &words.moment(finding.since, shown.yard.zone))]))
                            @let who = who(words, finding, &shown.names);
                            @if !who.is_empty() { " · " (who) }
                        }
                    } }
                }
                a class="button" id="to-review" href=(Tab::Review.path()) {
                    (words.n("review.count", all.len() as i64, &[]))
                }
            }
        }
    }
}

fn coops(words: Words, sheet: &Sheet, is_today: bool) -> Markup {
    let rows = &sheet.gathered.by_coop;
    let floor = rows.iter().any(|row| row.floor_laid > 0);
    html! {
        div class="card" {
            @if rows.is_empty() {
                h2 { (words.t("today.coops")) }
                p class="about" { (words.t("gather.no_coop")) }
            } @else {
                table {
                    caption { (words.t("today.coops")) }
                    thead { tr {
                        th scope="col" { (words.t("coop")) }
                        th scope="col" class="num" { (words.t("kitchen.eggs")) }
                        @if floor { th scope="col" class="num" { (words.t("gather.floor")) } }
                    } }
                    tbody {
                        @for row in rows {
                            tr {
                                th scope="row" { (egg(row.species)) " " (row.name) small { (words.species(row.species)) } }
                                @match row.eggs {
                                    Some(n) => {
                                        td class="num" { (words.num(n)) }
                                        @if floor { td class="num" { (words.num(row.floor_laid)) } }
                                    }
                                    None => td class="num unknown" colspan=(if floor { 2 } else { 1 }) {
                                        (nobody(words, is_today))
                                    },
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn gatherers(words: Words, sheet: &Sheet) -> Markup {
    let mut all: Vec<(&String, &i64)> = sheet.gathered.by_person.iter().collect();
    all.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
    html! {
        @if !all.is_empty() {
            div class="card" {
                table {
                    caption { (words.t("kitchen.gathered_by")) }
                    thead { tr {
                        th scope="col" { (words.t("kitchen.person")) }
                        th scope="col" class="num" { (words.t("kitchen.eggs")) }
                    } }
                    tbody {
                        @for (name, n) in all {
                            tr { th scope="row" { (name) } td class="num" { (words.num(*n)) } }
                        }
                    }
                }
            }
        }
    }
}

/// What else was done that day.
fn work(words: Words, shown: &Day) -> Markup {
    let sheet = &shown.sheet;
    let mut lines: Vec<(String, String)> = Vec::new();
    for (means, n) in &sheet.washed {
        let means = words.t(&format!("means.{means}"));
        lines.push((
            words.fill("today.washed", &[("means", &means)]),
            words.num(*n),
        ));
    }
    for (quality, n) in &sheet.candled {
        let quality = words.t(&format!("quality.{quality}"));
        lines.push((
            words.fill("today.candled", &[("quality", &quality)]),
            words.num(*n),
        ));
    }
    for run in &sheet.cartoned {
        let size = match run.size.as_str() {
            "" => String::new(),
            size => words.t(&format!("size.{size}")),
        };
        let each = run.eggs_per_carton.to_string();
        let values = [
            ("each", each.as_str()),
            ("species", &words.species(run.species)),
            ("size", &size),
        ];
        lines.push((
            words.n("today.cartoned", run.cartons, &values),
            words.num(run.eggs),
        ));
    }
    for (reason, n) in &sheet.pulled.by_reason {
        let reason = words.t(&format!("defect.{reason}"));
        lines.push((
            words.fill("kitchen.pulled_for", &[("reason", &reason)]),
            words.num(*n),
        ));
    }
    for (way, n) in &sheet.out.eggs {
        lines.push((words.t(&format!("way.{way}")), words.num(*n)));
    }
    for (species, grams) in &sheet.mean_grams {
        let species = words.species(*species);
        let weight = weight(words, *grams, shown.yard.ounces);
        lines.push((words.fill("today.mean", &[("species", &species)]), weight));
    }
    html! {
        @if !lines.is_empty() {
            div class="card" {
                table {
                    caption { (words.t("today.work")) }
                    tbody {
                        @for (what, n) in lines {
                            tr { th scope="row" { (what) } td class="num" { (n) } }
                        }
                    }
                }
            }
        }
    }
}

/// Grams in an avoirdupois ounce (exact, by the international pound of 1959).
const OUNCE: f64 = 28.349_523_125;

fn weight(words: Words, grams: f64, ounces: bool) -> String {
    match ounces {
        true => format!("{}\u{a0}oz", words.decimal(grams / OUNCE, 2)),
        false => format!("{}\u{a0}g", words.decimal(grams, 1)),
    }
}
