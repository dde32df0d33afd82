use chrono::NaiveDate;
use maud::{Markup, html};

use super::figures::{cups, mark};
use super::page::{Sheet, document};
use super::words::{CODES, counted};
use super::{Page, Paper};

/// What to phone people about on a bad day.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CallBack {
    /// The farm's name.
    pub farm: String,
    /// What was asked, in words: which coop and days, which carton, which hold.
    pub asked: String,
    /// How sure the list is, in words: where eggs were pooled it is the smallest set that is certain
    /// to hold the eggs in question.
    pub said: Vec<String>,
    /// What is still on the farm.
    pub here: Vec<StillHere>,
    /// Whom to call, the most pressing first.
    pub people: Vec<ToCall>,
    /// Eggs that are out of the flow, in words.
    pub pulled: Vec<String>,
    /// What a careful person would add.
    pub cautions: Vec<String>,
    /// When it was printed, in the farm's own time.
    pub printed: String,
}

/// Eggs in question that are still on the farm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StillHere {
    /// The code on the cartons, or the lot of eggs that are not packed.
    pub code: String,
    /// Where and since when, for example `in cartons, packed 2026-11-23`.
    pub place: String,
    /// How many, for example `3 cartons`.
    pub left: String,
    /// Whether all of it is in question, rather than some that nobody can tell from the rest.
    pub all: bool,
}

/// Someone who got eggs in question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToCall {
    /// Who; nothing where nobody wrote it down.
    pub who: Option<String>,
    /// How to reach them.
    pub contact: Option<String>,
    /// What they got.
    pub got: Vec<Got>,
    /// What of it came back, in words.
    pub came_back: Option<String>,
}

/// Eggs that left, or came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Got {
    /// The farm day.
    pub day: NaiveDate,
    /// How they left: sold, given, eaten; or that they came back.
    pub way: String,
    /// How many, for example `2 cartons`.
    pub what: String,
    /// The code on the cartons, where one is known.
    pub code: Option<String>,
    /// Whether all of it is in question, rather than some that nobody can tell from the rest.
    pub all: bool,
}

/// The list to phone people from: what is still here first, then who has the rest.
pub fn call_back_page(list: &CallBack, paper: Paper) -> Page {
    let title = format!("Call-back, {}", list.farm);
    let calls = i64::try_from(list.people.len()).unwrap_or(0);
    let body = html! {
        main {
            header.top {
                (mark())
                div {
                    h1 { "Call these eggs back" }
                    p.soft { (list.farm) ", printed " (list.printed) }
                }
            }
            (cups())
            p.asked { (list.asked) }
            @for said in &list.said { p { (said) } }
            section {
                h2 { "1. Still here: set apart now" }
                (here(&list.here))
            }
            section {
                h2 { "2. Phone: " (counted(calls, "call")) }
                @if list.people.is_empty() { p { "Nothing of it has left the farm." } }
                @if list.people.iter().any(|person| person.who.is_none()) {
                    p.alarm {
                        "Of some eggs nobody wrote down who got them: put up a notice where they were sold."
                    }
                }
                @for person in &list.people { (to_call(person)) }
            }
            @if !list.pulled.is_empty() {
                section.keep {
                    h2 { "3. Pulled or missing" }
                    ul { @for pulled in &list.pulled { li { (pulled) } } }
                }
            }
            section.keep {
                h2 { "What to say" }
                p {
                    "Look for the code on the carton. Do not eat these eggs and do not give them away; keep \
                     them apart from other food until we fetch them, or throw them away so that nobody, \
                     and no animal, eats them. Wash your hands and whatever they touched. If someone who \
                     ate them is ill, ask a doctor, and say that it may be from eggs."
                }
            }
            footer.caution {
                @for caution in &list.cautions { p { (caution) } }
                p { (CODES) }
            }
        }
    };
    document(
        &title,
        &Sheet::upright(paper),
        include_str!("style/call_back.css"),
        &[],
        body,
    )
}

fn here(all: &[StillHere]) -> Markup {
    html! {
        @if all.is_empty() { p { "Nothing of it is on the farm any more." } }
        @else {
            table {
                thead { tr {
                    th.box {} th scope="col" { "code" } th scope="col" { "where" }
                    th.num scope="col" { "how much" } th scope="col" { "in question" }
                } }
                tbody {
                    @for eggs in all {
                        tr {
                            td.box { span.tick {} }
                            th.mono scope="row" { (eggs.code) }
                            td { (eggs.place) }
                            td.num { (eggs.left) }
                            td { (in_question(eggs.all)) }
                        }
                    }
                }
            }
        }
    }
}

fn to_call(person: &ToCall) -> Markup {
    html! {
        div.person {
            h3 { (person.who.as_deref().unwrap_or("Nobody written down")) }
            p.contact {
                @match &person.contact {
                    Some(text) => (text),
                    None => span.unknown { "no number written down" },
                }
            }
            ul {
                @for got in &person.got {
                    li {
                        b { (got.what) } ", "
                        @if let Some(code) = &got.code { span.mono { (code) } ", " }
                        (got.way) " " (got.day) ": " (in_question(got.all))
                    }
                }
            }
            @if let Some(back) = &person.came_back { p { b { (back) } } }
            p.ticks {
                span.tick {} "called" span.tick {} "reached" span.tick {} "eggs back or thrown away"
                span.when { "when, who" }
            }
        }
    }
}

fn in_question(all: bool) -> &'static str {
    if all { "all of it" } else { "may be among it" }
}
