use std::collections::BTreeMap;

use chrono::NaiveDate;
use maud::{Markup, html};

use super::figures::{cups, mark};
use super::page::{Sheet, document};
use super::words::{CODES, counted};
use super::{Page, Paper};
use crate::trade::Species;

/// What to phone people about on a bad day.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CallBack {
    /// The farm's name.
    pub farm: String,
    /// What was asked, in words: which coop and days, which carton, which hold.
    pub asked: String,
    /// How sure the list is, in words: where eggs were pooled it is the smallest set that is certain
    /// to hold the eggs in question.
    pub certainty: String,
    /// The carton runs and loose eggs in question.
    pub runs: Vec<CallBackRun>,
    /// When it was printed, in the farm's own time.
    pub printed: String,
    /// Further cautions.
    pub cautions: Vec<String>,
}

/// A run of cartons, or loose eggs, in question.
#[derive(Debug, Clone, PartialEq)]
pub struct CallBackRun {
    /// The code printed on the cartons, or the lot of loose eggs.
    pub code: String,
    /// Whose eggs.
    pub species: Species,
    /// The day of packing; nothing for loose eggs.
    pub packed: Option<NaiveDate>,
    /// What is still on the farm, for example `3 cartons`; nothing where nothing is.
    pub here: Option<String>,
    /// Where the rest went.
    pub gone: Vec<Destination>,
}

/// Eggs that left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Destination {
    /// Who got them; nothing where nobody wrote it down.
    pub who: Option<String>,
    /// How to reach them.
    pub contact: Option<String>,
    /// The farm day.
    pub day: NaiveDate,
    /// How they left: sold, given, eaten.
    pub way: String,
    /// How many, for example `2 cartons of 12`.
    pub what: String,
}

/// The list to phone people from: what is still here first, then who has the rest.
pub fn call_back_page(list: &CallBack, paper: Paper) -> Page {
    let title = format!("Call-back, {}", list.farm);
    let here: Vec<&CallBackRun> = list.runs.iter().filter(|run| run.here.is_some()).collect();
    let people = people(list);
    let nameless = people.iter().filter(|((who, _), _)| who.is_none()).count();
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
            p { (list.certainty) }
            section {
                h2 { "1. Still here: set apart now" }
                @if here.is_empty() { p { "Nothing of it is on the farm any more." } }
                @else {
                    table {
                        thead { tr {
                            th.box {} th scope="col" { "code on the carton" } th scope="col" { "eggs of" }
                            th scope="col" { "packed" } th.num scope="col" { "here" }
                        } }
                        tbody {
                            @for run in here {
                                tr {
                                    td.box { span.tick {} }
                                    th.mono scope="row" { (run.code) }
                                    td { (run.species.code()) }
                                    td { (packed(run)) }
                                    td.num { (run.here.as_deref().unwrap_or_default()) }
                                }
                            }
                        }
                    }
                }
            }
            section {
                h2 { "2. Phone: " (counted(i64::try_from(people.len()).unwrap_or(0), "call")) }
                @if people.is_empty() { p { "Nothing of it has left the farm." } }
                @if nameless > 0 {
                    p.alarm { "Of some eggs nobody wrote down who got them: put up a notice where they were sold." }
                }
                @for ((who, contact), gone) in &people { (person(who.as_deref(), contact.as_deref(), gone)) }
            }
            section.keep {
                h2 { "What to say" }
                p { "Look for the code on the carton. Do not eat these eggs and do not give them away; keep \
                     them apart from other food until we fetch them, or throw them away so that nobody, \
                     and no animal, eats them. Wash your hands and whatever they touched. If someone who \
                     ate them is ill, ask a doctor, and say that it may be from eggs." }
            }
            footer.caution {
                p { "A food authority may have to be told, and may decide more than this list. Whether eggs \
                     of a treated or ill flock may ever be used, the label of the medicine and a \
                     veterinarian say. " (CODES) }
                @for caution in &list.cautions { p { (caution) } }
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

type Who = (Option<String>, Option<String>);

/// Who got what: those with a name first, in its order.
fn people(list: &CallBack) -> Vec<(Who, Vec<(&CallBackRun, &Destination)>)> {
    let mut all: BTreeMap<(bool, Who), Vec<(&CallBackRun, &Destination)>> = BTreeMap::new();
    for run in &list.runs {
        for gone in &run.gone {
            let who = (gone.who.clone(), gone.contact.clone());
            all.entry((gone.who.is_none(), who))
                .or_default()
                .push((run, gone));
        }
    }
    all.into_iter()
        .map(|((_, who), gone)| (who, gone))
        .collect()
}

fn person(
    who: Option<&str>,
    contact: Option<&str>,
    gone: &[(&CallBackRun, &Destination)],
) -> Markup {
    html! {
        div.person {
            h3 { (who.unwrap_or("Nobody written down")) }
            p.contact { @match contact { Some(text) => (text), None => span.unknown { "no number written down" } } }
            ul {
                @for (run, gone) in gone {
                    li {
                        b { (gone.what) } ", " span.mono { (run.code) } ", " (run.species.code()) " eggs, "
                        (gone.way) " " (gone.day)
                    }
                }
            }
            p.ticks {
                span.tick {} "called" span.tick {} "reached" span.tick {} "eggs back or thrown away"
                span.when { "when, who" }
            }
        }
    }
}

fn packed(run: &CallBackRun) -> String {
    run.packed.map_or("loose".into(), |day| day.to_string())
}
