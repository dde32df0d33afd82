use std::collections::BTreeMap;

use maud::{Markup, html};

use super::figures::{EGG, cups, mark};
use super::page::{Sheet as Lie, document};
use super::words::{COUNTS_ONLY, counted, eggs, long_day, lots, of_species, plain};
use super::{Page, Paper};
use crate::book::{Days, Place, Sheet};

/// A day sheet, or that of a span of days, for print.
#[derive(Debug, Clone)]
pub struct DaySheet<'a> {
    /// The farm's name.
    pub farm: &'a str,
    /// The farm's time zone.
    pub zone: String,
    /// The totals.
    pub sheet: &'a Sheet,
    /// When it was printed, in the farm's own time.
    pub printed: String,
    /// What waits for a decision, each in one line, the most pressing first.
    pub waiting: Vec<String>,
}

/// The day sheet: what was gathered and where, what became of it, and where the eggs are.
pub fn day_sheet_page(day: &DaySheet<'_>, paper: Paper) -> Page {
    let sheet = day.sheet;
    let one_day = sheet.from == sheet.to;
    let when = if one_day {
        long_day(sheet.from)
    } else {
        let days = (sheet.to - sheet.from).num_days() + 1;
        format!("{} to {}, {days} days", sheet.from, sheet.to)
    };
    let title = format!("{}, {when}", day.farm);
    let body = html! {
        main {
            header.top {
                (mark())
                div {
                    h1 { (when) }
                    p.soft { (day.farm) ", days of " (day.zone) }
                }
            }
            (cups())
            section.glance aria-label="The day at a glance" { (hero(sheet)) (flow(sheet)) }
            (gathered(sheet, one_day))
            (on_hand(sheet))
            div.columns {
                (tally("Pulled, by reason", "reason", &sheet.pulled.by_reason))
                (tally("Pulled, what became of them", "use", &sheet.pulled.by_use))
                (tally("Cleaned", "means", &sheet.washed))
                (tally("Candled", "found", &sheet.candled))
                (cartoned(sheet))
                (out(sheet))
                (weights(sheet))
                (unaccounted(sheet))
            }
            @if !day.waiting.is_empty() {
                section.keep {
                    h2 { "Waiting for a decision" }
                    ul.plain { @for line in &day.waiting { li { span.tick {} (line) } } }
                }
            }
            footer {
                p.caution { (COUNTS_ONLY) }
                p.soft.small { "Printed " (day.printed) ". Looked over by" span.sign {} }
            }
        }
    };
    document(
        &title,
        &Lie::upright(paper),
        include_str!("style/day_sheet.css"),
        &[],
        body,
    )
}

/// The count in the egg before the light.
fn hero(sheet: &Sheet) -> Markup {
    let nobody = sheet.gathered.by_coop.iter().all(|row| row.eggs.is_none());
    let unknown: u32 = sheet.gathered.by_coop.iter().map(|r| r.days.unknown).sum();
    html! {
        div.hero {
            svg viewBox="0 0 64 64" aria-hidden="true" { path d=(EGG) {} }
            p {
                @if nobody { b.words { "not known" } }
                @else { b.long[sheet.gathered.eggs > 999] { (sheet.gathered.eggs) } }
                span { "gathered" }
            }
            @if !nobody && unknown > 0 {
                p.gap.unknown { "and " (counted(i64::from(unknown), "flock day")) " unknown" }
            }
        }
    }
}

/// From the basket to the door.
fn flow(sheet: &Sheet) -> Markup {
    let at = |place: Place| -> i64 {
        let here = sheet.on_hand.iter().filter(|at| at.station == place);
        here.map(|at| at.eggs).sum()
    };
    let left: i64 = sheet
        .out
        .eggs
        .iter()
        .map(|(way, n)| if way == "returned" { -n } else { *n })
        .sum();
    let places = [
        ("basket", "In baskets", "not cleaned yet", at(Place::Basket)),
        ("clean", "Clean", "waiting for cartons", at(Place::Clean)),
        (
            "cartoned",
            "In cartons",
            "on the shelf",
            at(Place::Cartoned),
        ),
        ("out", "Out", "sold, given, eaten", left),
        ("pulled", "Pulled", "not for cartons", sheet.pulled.eggs),
    ];
    html! {
        ol.flow {
            @for (place, name, about, n) in places {
                li class=(place) {
                    (motif(place))
                    h3 { (name) }
                    p.n.alarm[n < 0] { (n) }
                    p.soft.small { (about) }
                }
            }
        }
    }
}

/// What stands over each place: weave, eggs, cups, a road, a sieve.
fn motif(place: &str) -> Markup {
    let path: String = (0..12)
        .map(|n| {
            let x = n * 10;
            match place {
                "basket" => format!("M{x} 2h6M{} 6h6M{x} 10h6M{} 0v12", x + 4, x + 8),
                "clean" => format!("M{} 2.5a3 3.6 0 1 0 0.01 0", x + 5),
                "cartoned" => format!("M{x} 3a5 7 0 0 0 10 0"),
                "out" => format!("M{x} 11l6-10"),
                _ => format!("M{} 3h0.01M{} 9h0.01", x + 2, x + 7),
            }
        })
        .collect();
    html! {
        svg viewBox="0 0 120 12" preserveAspectRatio="xMinYMid slice" aria-hidden="true" {
            path d=(path) {}
        }
    }
}

fn gathered(sheet: &Sheet, one_day: bool) -> Markup {
    let rows = &sheet.gathered.by_coop;
    let people: Vec<String> = sheet
        .gathered
        .by_person
        .iter()
        .map(|(name, n)| {
            format!(
                "{} {n}",
                if name.is_empty() {
                    "nobody named"
                } else {
                    name
                }
            )
        })
        .collect();
    html! {
        section {
            table {
                caption { "Gathered" }
                thead { tr {
                    th scope="col" { "coop" }
                    th scope="col" { "eggs of" }
                    th.num scope="col" { "eggs" }
                    th.num scope="col" { "floor-laid" }
                    th.num scope="col" { "rounds" }
                    @if !one_day { th.num scope="col" { "days known" } th.num scope="col" { "unknown" } }
                } }
                tbody {
                    @if rows.is_empty() { tr { td colspan="7" { "No coop was there yet." } } }
                    @for row in rows {
                        tr {
                            th scope="row" { (row.name) }
                            td { (row.species.code()) }
                            @match row.eggs {
                                Some(n) => { td.num { (n) } td.num { (row.floor_laid) } }
                                None => { td.num.unknown { "unknown" } td.num.unknown { "unknown" } }
                            }
                            td.num { (row.rounds) }
                            @if !one_day { (known(row.days)) }
                        }
                    }
                }
            }
            @if !people.is_empty() { p.small.soft { "By " (people.join(", ")) "." } }
        }
    }
}

fn known(days: Days) -> Markup {
    html! { td.num { (days.known) } td.num { (days.unknown) } }
}

fn tally(title: &str, of: &str, all: &BTreeMap<String, i64>) -> Markup {
    html! {
        @if !all.is_empty() {
            table.keep {
                caption { (title) }
                thead { tr { th scope="col" { (of) } th.num scope="col" { "eggs" } } }
                tbody {
                    @for (word, n) in all {
                        tr { th scope="row" { (plain(word)) } td.num { (n) } }
                    }
                }
            }
        }
    }
}

fn cartoned(sheet: &Sheet) -> Markup {
    html! {
        @if !sheet.cartoned.is_empty() {
            table.keep {
                caption { "Packed" }
                thead { tr {
                    th scope="col" { "eggs of" } th scope="col" { "size" }
                    th.num scope="col" { "to a carton" } th.num scope="col" { "cartons" }
                } }
                tbody {
                    @for row in &sheet.cartoned {
                        tr {
                            th scope="row" { (row.species.code()) }
                            td { @if row.size.is_empty() { "not sized" } @else { (row.size) } }
                            td.num { (row.eggs_per_carton) }
                            td.num { (row.cartons) }
                        }
                    }
                }
            }
        }
    }
}

fn out(sheet: &Sheet) -> Markup {
    html! {
        @if !sheet.out.eggs.is_empty() {
            table.keep {
                caption { "Out" }
                thead { tr {
                    th scope="col" { "way" } th.num scope="col" { "eggs" } th.num scope="col" { "cartons" }
                } }
                tbody {
                    @for (way, n) in &sheet.out.eggs {
                        tr {
                            th scope="row" { (way) }
                            td.num { (n) }
                            td.num { (sheet.out.cartons.get(way).copied().unwrap_or(0)) }
                        }
                    }
                }
            }
        }
    }
}

fn weights(sheet: &Sheet) -> Markup {
    html! {
        @if !sheet.mean_grams.is_empty() {
            table.keep {
                caption { "Mean weight of the eggs weighed" }
                tbody {
                    @for (species, grams) in &sheet.mean_grams {
                        tr { th scope="row" { (of_species(*species)) } td.num { (format!("{grams:.1} g")) } }
                    }
                }
            }
        }
    }
}

fn unaccounted(sheet: &Sheet) -> Markup {
    html! {
        @if sheet.unaccounted.values().any(|n| *n != 0) {
            table.keep {
                caption { "Unaccounted, by recounts" }
                tbody {
                    @for (species, n) in &sheet.unaccounted {
                        tr {
                            th scope="row" { (of_species(*species)) }
                            td.num.alarm {
                                @if *n < 0 { (eggs(-n)) " too many" } @else { (eggs(*n)) " missing" }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn on_hand(sheet: &Sheet) -> Markup {
    html! {
        section.keep {
            table {
                caption { "On hand at the end of " (sheet.to) }
                thead { tr {
                    th scope="col" { "where" } th scope="col" { "eggs of" }
                    th.num scope="col" { "eggs" } th scope="col" { "lots, with their eggs" }
                } }
                tbody {
                    @if sheet.on_hand.is_empty() { tr { td colspan="4" { "No eggs." } } }
                    @for at in &sheet.on_hand {
                        tr {
                            th scope="row" { (at.station.code()) }
                            td { (at.species.code()) }
                            td.num.alarm[at.eggs < 0] { (at.eggs) }
                            td.small { (lots(at.lots.iter().map(|(lot, n)| (lot, *n)))) }
                        }
                    }
                }
            }
            @if sheet.on_hand.iter().any(|at| at.lots.values().any(|n| *n < 0)) {
                p.small.alarm { "Below zero: more eggs left than ever came. Log what is missing, or amend." }
            }
        }
    }
}
