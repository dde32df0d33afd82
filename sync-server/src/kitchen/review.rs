//! The review list with its choices. A choice is one step, is made in a person's name, and can be
//! taken back.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use pointdown_core::book::review::{Choice, Finding, Weight, What};
use pointdown_core::farm::{Farm, FarmError, Row};
use pointdown_core::record::Id;
use serde::Deserialize;

use super::author::people;
use super::door;
use super::frame::{Farmyard, Page, Tab, notice, page};
use super::pictures::icon;
use super::seat::{Guest, Seat, look};
use super::sentence::{about, choice, counted_at, who};
use super::words::Words;
use crate::app::App;
use crate::error::ApiError;

/// The most records behind a line that are shown.
const MOST_BEHIND: usize = 4;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    /// What the last form came to.
    said: Option<String>,
    /// The records that it made, joined by dots.
    made: Option<String>,
    language: Option<String>,
}

struct List {
    yard: Farmyard,
    names: BTreeMap<Id, String>,
    people: Vec<(Id, String)>,
    /// The records behind each line.
    behind: Vec<Vec<Row>>,
    /// Whether what the last form made still stands.
    stands: bool,
}

/// The review list, each line with its choices where this screen may decide.
#[utoipa::path(
    get, path = "/kitchen/review", tag = "kitchen screen",
    responses((status = 200, description = "The page.", body = String, content_type = "text/html"))
)]
pub(super) async fn review(
    State(app): State<Arc<App>>,
    guest: Guest,
    ask: Result<Query<Ask>, QueryRejection>,
) -> Result<Response, ApiError> {
    let Query(ask) = ask?;
    if let Some(language) = &ask.language {
        return door::speak(language, Tab::Review.path());
    }
    let Some(seat) = guest.seat else {
        return Ok(door::door(guest.words, None).into_response());
    };
    let farm = seat.device.farm;
    let made = made(ask.made.as_deref());
    let all = made.clone();
    let list = look(app, farm, move |app, farm| read(farm, app.now(), &all)).await?;
    Ok(show(&seat, &list, ask.said.as_deref(), &made))
}

/// The ids in an address.
pub(super) fn made(text: Option<&str>) -> Vec<Id> {
    let ids = text.unwrap_or_default().split('.').take(50);
    ids.filter_map(|id| id.parse().ok()).collect()
}

fn read(farm: &Farm, now: i64, made: &[Id]) -> Result<List, FarmError> {
    let yard = Farmyard::read(farm, now)?;
    let mut behind = Vec::new();
    for finding in &yard.findings {
        let mut rows = Vec::new();
        for id in finding.records.iter().take(MOST_BEHIND) {
            rows.extend(farm.record(*id)?);
        }
        behind.push(rows);
    }
    let mut stands = !made.is_empty();
    for id in made {
        stands &= farm.record(*id)?.is_some_and(|row| row.standing == "live");
    }
    Ok(List {
        names: farm.names()?,
        people: people(farm)?,
        behind,
        stands,
        yard,
    })
}

fn show(seat: &Seat, list: &List, said: Option<&str>, made: &[Id]) -> Response {
    let words = seat.words;
    let n = list.yard.findings.len() as i64;
    let counted = match n {
        0 => words.t("review.empty"),
        n => words.n("review.count", n, &[]),
    };
    let person = decider(seat, &list.people);
    let body = html! {
        h1 { (words.t("nav.review")) }
        p class="about" { (words.t("review.about")) }
        @if !seat.decides() { p class="about" { (words.t("kitchen.only_reads")) } }
        @else if n > 0 { (deciders(seat, &list.people, person)) }
        @if n == 0 { p class="card calm" { (icon("done")) " " (words.t("review.empty")) } }
        ul class="findings" {
            @for (finding, rows) in list.yard.findings.iter().zip(&list.behind) {
                (line(seat, list, finding, rows, person.is_some()))
            }
        }
    };
    let done = said.map(|said| told(seat, list, said, made));
    let page_ = Page {
        tab: Tab::Review,
        title: words.t("nav.review"),
        said: counted,
        notice: done,
        body,
        live: true,
    };
    page(seat, &list.yard, page_)
}

/// What the last form came to; a choice that stands can be taken back here.
fn told(seat: &Seat, list: &List, said: &str, made: &[Id]) -> Markup {
    let words = seat.words;
    let (text, bad) = match said {
        "done" => (words.t("review.done"), false),
        "undone" => (words.t("undo.done"), false),
        "changed" => (words.t("kitchen.said.changed"), true),
        "count" => (words.t("kitchen.said.count"), true),
        "who" => (words.t("kitchen.said.who"), true),
        _ => (words.t("kitchen.said.failed"), true),
    };
    let ids: Vec<String> = made.iter().map(Id::to_string).collect();
    let more = html! {
        @if said == "done" && list.stands && seat.decides() {
            form method="post" action="/kitchen/undo" {
                input type="hidden" name="key" value=(seat.key());
                input type="hidden" name="made" value=(ids.join("."));
                button type="submit" id="undo" { (words.t("undo")) }
            }
        }
    };
    notice(&text, bad, more)
}

/// Who decides: whoever said so, if the farm knows them; the only one where there is only one.
pub(super) fn decider(seat: &Seat, people: &[(Id, String)]) -> Option<Id> {
    match people {
        [(only, _)] => Some(*only),
        all => seat
            .person
            .filter(|id| all.iter().any(|(known, _)| known == id)),
    }
}

/// One button for each person: a choice carries their name.
fn deciders(seat: &Seat, people: &[(Id, String)], chosen: Option<Id>) -> Markup {
    let words = seat.words;
    html! {
        form class="card who" method="post" action="/kitchen/person" {
            input type="hidden" name="key" value=(seat.key());
            fieldset {
                legend { (words.t("kitchen.who")) }
                p class="about" { (words.t("kitchen.who.about")) }
                div class="choices" {
                    @for (id, name) in people {
                        button type="submit" name="person" value=(id) id={ "who-" (id) }
                            aria-pressed=(if chosen == Some(*id) { "true" } else { "false" }) { (name) }
                    }
                }
            }
        }
    }
}

fn line(seat: &Seat, list: &List, finding: &Finding, rows: &[Row], may: bool) -> Markup {
    let words = seat.words;
    let weight = match finding.weight {
        Weight::Urgent => "urgent",
        Weight::Soon => "soon",
        Weight::Note => "note",
    };
    let tag = finding.tag();
    let concerned = who(words, finding, &list.names);
    let since = words.moment(finding.since, list.yard.zone);
    html! {
        li class={ "card finding " (weight) } {
            article aria-labelledby={ "l-" (tag) } {
                p class="kind" {
                    (icon("review")) " " b { (words.t(&format!("weight.{weight}"))) }
                    span class="about" { " " (words.fill("kitchen.since", &[("at", &since)])) }
                    @if !concerned.is_empty() { span class="about" { " · " (concerned) } }
                }
                h2 id={ "l-" (tag) } { (about(words, finding, &list.names)) }
                @if let What::Breach { why, .. } = &finding.what {
                    p class="about" lang="en" { (why) }
                }
                @if matches!(finding.what, What::HeldEggs { .. }) {
                    p class="caution" { (words.t("caution.held")) }
                }
                @if !rows.is_empty() {
                    ul class="behind" {
                        @for row in rows { li { (record(words, list, row)) } }
                    }
                }
                @if seat.decides() {
                    div class="choices" {
                        @for (n, one) in finding.choices.iter().enumerate() {
                            (form(seat, list, finding, (n, one), may))
                        }
                    }
                }
            }
        }
    }
}

/// One choice as a form of its own, so that Enter in a field never makes another choice.
fn form(
    seat: &Seat,
    list: &List,
    finding: &Finding,
    (n, one): (usize, &Choice),
    may: bool,
) -> Markup {
    let words = seat.words;
    let tag = finding.tag();
    let text = choice(words, finding, one, &list.names);
    let id = format!("c-{tag}-{n}");
    let described = format!("l-{tag}");
    html! {
        form method="post" action="/kitchen/choose" class=[one.wants_count().then_some("counting")] {
            input type="hidden" name="key" value=(seat.key());
            input type="hidden" name="line" value=(finding.line);
            input type="hidden" name="tag" value=(tag);
            @if one.wants_count() {
                label for={ "n-" (id) } { (counted_at(words, one)) }
                input id={ "n-" (id) } name="counted" type="number" inputmode="numeric" min="0"
                    max="10000" step="1" required;
            }
            button type="submit" name="choice" value=(n) id=(id) aria-describedby=(described)
                disabled[!may] { (text) }
        }
    }
}

/// A record behind a line: what, how many, where, who, when.
fn record(words: Words, list: &List, row: &Row) -> String {
    let named = |field: &str| {
        let id: Option<Id> = row.fields.get(field)?.as_str()?.parse().ok();
        list.names.get(&id?).cloned()
    };
    let kind = format!("kind.{}", row.kind);
    let mut parts = vec![match words.has(&kind) {
        true => words.t(&kind),
        false => words.t(&format!("kitchen.kind.{}", row.kind)),
    }];
    let number = ["count", "counted", "birds"]
        .iter()
        .find_map(|field| row.fields.get(*field)?.as_i64());
    let of_parts = row.fields.get("parts").and_then(|parts| {
        let all = parts.as_object()?.values();
        Some(all.filter_map(serde_json::Value::as_i64).sum())
    });
    if let Some(n) = number.or(of_parts) {
        parts.push(words.n("kitchen.due.eggs", n, &[]));
    }
    parts.extend(named("coop"));
    parts.extend(named("by"));
    parts.push(words.moment(row.at, list.yard.zone));
    if row.standing != "live" {
        parts.push(words.t("kitchen.voided"));
    }
    parts.join(" · ")
}
