//! Who belongs to the farm: people, their phones and when they last synced; for an owner invites,
//! roles, shutting out, and the audit log.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use chrono::Days;
use maud::{Markup, html};
use pointdown_core::farm::{Farm, FarmError, Filter};
use pointdown_core::record::{Id, Instant};
use pointdown_core::sync::pin_text;
use serde::Deserialize;

use super::SCREEN;
use super::author::people as known_people;
use super::door;
use super::frame::{Farmyard, Page, Tab, notice, page};
use super::pictures::{code, icon};
use super::seat::{Guest, Seat, look};
use crate::app::{App, blocking};
use crate::error::ApiError;
use crate::members::Invite;
use crate::store::{DeviceRow, Noted, Role};

/// Days back in which a person's last record is looked for.
const SINCE_DAYS: u64 = 14;

/// The most records that are looked at for it.
const MOST_RECORDS: u32 = 2000;

/// The newest lines of the audit log that are shown.
const MOST_LINES: u32 = 40;

/// From how many milliseconds of silence on a phone is said to be quiet: more than a day.
const QUIET_MS: i64 = 26 * 3_600_000;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    /// What the last form came to.
    said: Option<String>,
    /// The device that is about to be shut out.
    sure: Option<Id>,
    language: Option<String>,
}

/// What the page shows.
pub(super) struct House {
    yard: Farmyard,
    devices: Vec<DeviceRow>,
    audit: Vec<Noted>,
    /// Each person with the time of the last record by them that is here.
    people: Vec<(String, Option<Instant>)>,
}

/// People, phones, and for an owner invites, roles and the audit log.
#[utoipa::path(
    get, path = "/kitchen/people", tag = "kitchen screen",
    responses((status = 200, description = "The page.", body = String, content_type = "text/html"))
)]
pub(super) async fn people(
    State(app): State<Arc<App>>,
    guest: Guest,
    ask: Result<Query<Ask>, QueryRejection>,
) -> Result<Response, ApiError> {
    let Query(ask) = ask?;
    if let Some(language) = &ask.language {
        return door::speak(language, Tab::People.path());
    }
    let Some(seat) = guest.seat else {
        return Ok(door::door(guest.words, None).into_response());
    };
    let house = house(app, &seat).await?;
    Ok(show(&seat, &house, &ask))
}

pub(super) async fn house(app: Arc<App>, seat: &Seat) -> Result<House, ApiError> {
    let (farm, owns) = (seat.device.farm, seat.owns());
    let inside = app.clone();
    let (devices, audit) = blocking(move || {
        let audit = match owns {
            true => inside.store.audit(farm, None, MOST_LINES)?,
            false => Vec::new(),
        };
        Ok((inside.store.devices(farm)?, audit))
    })
    .await?;
    let (yard, people) = look(app, farm, |app, farm| {
        Ok((Farmyard::read(farm, app.now())?, last_records(farm)?))
    })
    .await?;
    Ok(House {
        yard,
        devices,
        audit,
        people,
    })
}

fn last_records(farm: &Farm) -> Result<Vec<(String, Option<Instant>)>, FarmError> {
    let rows = farm.list(&Filter {
        from: farm.today()?.checked_sub_days(Days::new(SINCE_DAYS)),
        most: Some(MOST_RECORDS),
        ..Filter::default()
    })?;
    let mut last: BTreeMap<String, Instant> = BTreeMap::new();
    for row in rows {
        if let Some(by) = row.fields.get("by").and_then(serde_json::Value::as_str) {
            let at = last.entry(by.to_owned()).or_insert(row.at);
            *at = row.at.max(*at);
        }
    }
    let people = known_people(farm)?.into_iter();
    Ok(people
        .map(|(id, name)| (name, last.get(&id.to_string()).copied()))
        .collect())
}

fn show(seat: &Seat, house: &House, ask: &Ask) -> Response {
    let words = seat.words;
    let done = ask.said.as_deref().map(|said| {
        let (text, bad) = match said {
            "out" => (words.t("kitchen.said.out"), false),
            "role" => (words.t("kitchen.said.role"), false),
            "last_owner" => (words.t("kitchen.said.last_owner"), true),
            _ => (words.t("kitchen.said.failed"), true),
        };
        notice(&text, bad, html! {})
    });
    framed(seat, house, done, html! {}, ask.sure)
}

/// The page with a fresh invite on it, shown once.
pub(super) fn invited(
    app: &App,
    seat: &Seat,
    house: &House,
    invite: &Invite,
    headers: &HeaderMap,
    role: Role,
) -> Response {
    let words = seat.words;
    let host = headers.get("host").and_then(|v| v.to_str().ok());
    let origin = headers.get("origin").and_then(|v| v.to_str().ok());
    let site = match (origin.filter(|o| o.contains("://")), host) {
        (Some(origin), _) => origin.to_owned(),
        (None, Some(host)) => format!("http://{host}"),
        (None, None) => String::new(),
    };
    let link = format!("{site}/phone/#invite={}", invite.code);
    let until = words.moment(Instant::from_ms(invite.expires), house.yard.zone);
    let card = html! {
        section class="card invite" aria-labelledby="invited" {
            h2 id="invited" { (words.t("family.invite.scan")) }
            (code(&link, &words.t("family.invite.symbol")))
            p { (words.t("family.invite.or")) }
            p class="code" { (invite.code) }
            p { (words.t(&format!("kitchen.role.{}", role.as_str()))) }
            p class="about" { (words.fill("family.invite.until", &[("at", &until)])) }
            @if let Some(pin) = app.pin.as_ref().map(pin_text) {
                p class="about small" { (words.t("kitchen.pin")) " " code { (pin) } }
            }
            a class="button" href=(Tab::People.path()) { (words.t("close")) }
        }
    };
    framed(seat, house, None, card, None)
}

fn framed(
    seat: &Seat,
    house: &House,
    notice: Option<Markup>,
    card: Markup,
    sure: Option<Id>,
) -> Response {
    let words = seat.words;
    let live = sure.is_none() && card.0.is_empty();
    let body = html! {
        h1 { (words.t("nav.family")) }
        (card)
        div class="columns" {
            (devices(seat, house, sure))
            (persons(seat, house))
            @if seat.owns() { (invite_form(seat)) (audit(seat, house)) }
            (leave(seat, sure))
        }
    };
    let page_ = Page {
        tab: Tab::People,
        title: words.t("nav.family"),
        said: String::new(),
        notice,
        body,
        live,
    };
    page(seat, &house.yard, page_)
}

fn is_screen(device: &DeviceRow) -> bool {
    device.kind == "screen" || device.name == SCREEN
}

fn devices(seat: &Seat, house: &House, sure: Option<Id>) -> Markup {
    let words = seat.words;
    let inside = house.devices.iter().filter(|d| d.revoked_at.is_none());
    html! {
        section class="card wide" aria-labelledby="devices" {
            h2 id="devices" { (words.t("family.devices")) }
            p class="about" { (words.t("kitchen.devices.about")) }
            ul class="rows devices" {
                @for device in inside { li { (row(seat, house, device, sure)) } }
            }
        }
    }
}

fn row(seat: &Seat, house: &House, device: &DeviceRow, sure: Option<Id>) -> Markup {
    let words = seat.words;
    let me = device.id == seat.device.id;
    let silent = device.heard_at.map(|at| house.yard.now - at);
    let heard = match device.heard_at {
        Some(at) => {
            let moment = words.moment(Instant::from_ms(at), house.yard.zone);
            let ago = words.ago(house.yard.now - at);
            words.fill("kitchen.synced", &[("at", &moment), ("ago", &ago)])
        }
        None => words.t("sync.never"),
    };
    let quiet = !is_screen(device) && silent.is_none_or(|ms| ms > QUIET_MS);
    let fixed = device.kind == "screen";
    html! {
        div class="who-row" {
            p {
                b { (device.name) } " "
                @if me { em { (words.t("family.this")) } " " }
                span class="role" { (words.t(&format!("kitchen.role.{}", device.role.as_str()))) }
                @if !is_screen(device) {
                    small class=[quiet.then_some("old")] { (icon(if quiet { "waits" } else { "done" })) " " (heard) }
                    @if quiet { small class="old" { (words.t("kitchen.quiet")) } }
                } @else { small { (words.t("kitchen.is_screen")) } }
            }
            @if seat.owns() && !me {
                @if sure == Some(device.id) {
                    form method="post" action="/kitchen/out" class="sure" {
                        input type="hidden" name="key" value=(seat.key());
                        input type="hidden" name="device" value=(device.id);
                        button type="submit" class="bad" id="sure" {
                            (words.fill("kitchen.out.sure", &[("name", &device.name)]))
                        }
                        a class="button" href=(Tab::People.path()) { (words.t("cancel")) }
                    }
                } @else {
                    @if !fixed {
                        form method="post" action="/kitchen/role" {
                            input type="hidden" name="key" value=(seat.key());
                            input type="hidden" name="device" value=(device.id);
                            label class="unseen" for={ "role-" (device.id) } {
                                (words.fill("kitchen.role.of", &[("name", &device.name)]))
                            }
                            (roles(seat, &format!("role-{}", device.id), device.role))
                            button type="submit" id={ "give-" (device.id) }
                                aria-label=(words.fill("kitchen.role.give", &[("name", &device.name)])) { (words.t("save")) }
                        }
                    }
                    a class="button plain" id={ "out-" (device.id) }
                        href={ (Tab::People.path()) "?sure=" (device.id) }
                        aria-label=(words.fill("family.out.label", &[("name", &device.name)])) { (words.t("family.out")) }
                }
            }
        }
    }
}

fn roles(seat: &Seat, id: &str, chosen: Role) -> Markup {
    let words = seat.words;
    html! {
        select id=(id) name="role" {
            @for role in [Role::Reader, Role::Helper, Role::Owner] {
                option value=(role.as_str()) selected[role == chosen] {
                    (words.t(&format!("kitchen.role.{}", role.as_str())))
                }
            }
        }
    }
}

fn persons(seat: &Seat, house: &House) -> Markup {
    let words = seat.words;
    html! {
        div class="card" {
            table {
                caption { (words.t("kitchen.people")) }
                thead { tr {
                    th scope="col" { (words.t("kitchen.person")) }
                    th scope="col" { (words.t("kitchen.last_record")) }
                } }
                tbody {
                    @for (name, last) in &house.people {
                        tr {
                            th scope="row" { (name) }
                            td { (last.map_or_else(|| words.t("kitchen.no_record"), |at| words.moment(at, house.yard.zone))) }
                        }
                    }
                }
            }
        }
    }
}

fn invite_form(seat: &Seat) -> Markup {
    let words = seat.words;
    html! {
        form class="card" method="post" action="/kitchen/invite" {
            h2 { (words.t("family.invite")) }
            p class="about" { (words.t("kitchen.invite.about")) }
            input type="hidden" name="key" value=(seat.key());
            p {
                label for="invite-role" { (words.t("kitchen.invite.role")) }
                (roles(seat, "invite-role", Role::Helper))
            }
            button type="submit" class="main" id="invite" { (words.t("family.invite")) }
        }
    }
}

fn audit(seat: &Seat, house: &House) -> Markup {
    let words = seat.words;
    let name = |id: Option<Id>| {
        let row = house.devices.iter().find(|d| Some(d.id) == id);
        row.map(|d| d.name.clone())
    };
    html! {
        div class="card wide" {
            table class="audit" {
                caption { (words.t("kitchen.audit")) }
                thead { tr {
                    th scope="col" { (words.t("kitchen.audit.at")) }
                    th scope="col" { (words.t("kitchen.audit.what")) }
                    th scope="col" { (words.t("kitchen.audit.whom")) }
                    th scope="col" { (words.t("kitchen.audit.by")) }
                } }
                tbody {
                    @for line in &house.audit {
                        tr {
                            th scope="row" { (words.moment(Instant::from_ms(line.at), house.yard.zone)) }
                            td {
                                (words.t(&format!("kitchen.audit.{}", line.event)))
                                @if let Some(role) = &line.role { small { (words.t(&format!("kitchen.role.{role}"))) } }
                            }
                            td { (name(line.device).unwrap_or_else(|| "–".into())) }
                            td { (name(line.by).unwrap_or_else(|| words.t("kitchen.audit.server"))) }
                        }
                    }
                }
            }
        }
    }
}

/// The screen forgets itself, after one more question.
fn leave(seat: &Seat, sure: Option<Id>) -> Markup {
    let words = seat.words;
    html! {
        div class="card" {
            h2 { (words.t("kitchen.this_screen")) }
            p class="about" { (words.t(if seat.decides() { "kitchen.this_screen.decides" } else { "kitchen.this_screen.looks" })) }
            @if sure == Some(seat.device.id) {
                form method="post" action="/kitchen/leave" class="sure" {
                    input type="hidden" name="key" value=(seat.key());
                    button type="submit" class="bad" id="sure" { (words.t("kitchen.leave.sure")) }
                    a class="button" href=(Tab::People.path()) { (words.t("cancel")) }
                }
            } @else {
                a class="button" id="leave" href={ (Tab::People.path()) "?sure=" (seat.device.id) } { (words.t("kitchen.leave")) }
            }
        }
    }
}
