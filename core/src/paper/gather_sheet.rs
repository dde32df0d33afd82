use chrono::{Days, NaiveDate};
use maud::{Markup, html};

use super::figures::{cups, mark};
use super::page::{Sheet, document, number};
use super::words::{COUNTS_ONLY, of_species};
use super::{Page, Paper};
use crate::record::InvalidRecord;
use crate::trade::{Defect, Species};

/// The columns: the heading, and the name that an import knows it by. Pulled eggs have no column in
/// a household's log; they are logged from this sheet by hand.
const COLUMNS: [(&str, &str, &str); 11] = [
    ("date", "day", "date"),
    ("time", "time", ""),
    ("coop", "coop", "coop"),
    ("species", "species", "species"),
    ("eggs", "eggs", "eggs"),
    ("floor", "of these not in a nest", ""),
    ("pulled", "pulled", ""),
    ("why", "why, and what became of them", ""),
    ("birds", "laying birds", "birds"),
    ("weights", "weights, g", "weights"),
    ("who", "who", ""),
];

/// The most lines on a page that a hand can still write on: 7 mm each.
const MOST_LINES: u32 = 18;

/// The words for why that are wanted most often.
const WHY: [Defect; 10] = [
    Defect::Mud,
    Defect::Dung,
    Defect::Stain,
    Defect::ImpactCrack,
    Defect::HairlineCrack,
    Defect::Leaker,
    Defect::ThinShell,
    Defect::SoftShell,
    Defect::Misshapen,
    Defect::UnknownAge,
];

/// A sheet to hang in a coop while a phone is dead.
#[derive(Debug, Clone)]
pub struct GatherSheet<'a> {
    /// The farm's name.
    pub farm: &'a str,
    /// Each coop by name with its birds; every flock gets a page.
    pub coops: Vec<(String, Vec<Species>)>,
    /// The first day.
    pub from: NaiveDate,
    /// How many days, 1 to 14.
    pub days: u32,
    /// Lines for each day, 1 to 6, and at most 18 on a page.
    pub rounds: u32,
}

/// Blank lines for the rounds of some days, to be written on by hand. The headings bear the column
/// names of a household's log, so that the filled-in sheet can be typed in and imported.
///
/// # Errors
/// No coop, or more lines than a page has room for.
pub fn gather_sheet_page(blank: &GatherSheet<'_>, paper: Paper) -> Result<Page, InvalidRecord> {
    if blank.coops.iter().all(|(_, species)| species.is_empty()) {
        return Err(InvalidRecord::missing(
            "coop",
            "allowed is a coop that is in use",
        ));
    }
    if !(1..=14).contains(&blank.days) {
        return Err(InvalidRecord::new(
            "days",
            blank.days,
            "allowed are 1 to 14",
        ));
    }
    if !(1..=6).contains(&blank.rounds) || blank.days * blank.rounds > MOST_LINES {
        let allowed = format!("allowed are 1 to 6 a day, and {MOST_LINES} lines on a page");
        return Err(InvalidRecord::new("rounds", blank.rounds, allowed));
    }
    let last = blank
        .from
        .checked_add_days(Days::new(u64::from(blank.days) - 1))
        .unwrap_or(blank.from);
    let title = format!("Gather sheet, {}, {} to {last}", blank.farm, blank.from);
    let body = html! {
        header.screen {
            h1 { (title) }
            p { "One page for each flock. Print it, and hang it where the basket hangs." }
        }
        main {
            @for (coop, species) in &blank.coops {
                @for species in species {
                    (flock(blank, coop, *species, last))
                }
            }
        }
    };
    // What is left of the lower of the two papers, but no higher than looks well.
    let high = (126.0 / f64::from(blank.days * blank.rounds)).min(12.0);
    let rows = format!(".line {{ height: {}mm; }}\n", number(high));
    let style = format!("{}{rows}", include_str!("style/gather_sheet.css"));
    Ok(document(&title, &Sheet::across(paper), &style, &[], body))
}

fn flock(blank: &GatherSheet<'_>, coop: &str, species: Species, last: NaiveDate) -> Markup {
    let days = blank.from.iter_days().take(blank.days as usize);
    let why: Vec<String> = WHY.iter().map(|d| d.code().replace('_', " ")).collect();
    html! {
        section.page {
            header.top {
                (mark())
                div {
                    h1 { (coop) }
                    p.soft { (of_species(species)) ", " (blank.farm) }
                }
                p.week { (blank.from) span.soft { " to " } (last) }
            }
            (cups())
            table {
                thead { tr {
                    @for (class, heading, import) in COLUMNS {
                        th class=(class) scope="col" {
                            (heading)
                            @if !import.is_empty() && import != heading { code { (import) } }
                        }
                    }
                } }
                tbody {
                    @for day in days {
                        @for round in 0..blank.rounds {
                            tr.line.first[round == 0] {
                                td.date {
                                    @if round == 0 { b { (day.format("%a")) } " " }
                                    (day)
                                }
                                td {}
                                td.given { span.two { (coop) } }
                                td.given { (species.code()) }
                                @for _ in 0..7 { td {} }
                            }
                        }
                    }
                }
            }
            div.notes {
                p {
                    b { "Nobody went: " } "leave the line empty. "
                    b { "Looked and found none: " } "write 0. The book keeps the two apart."
                }
                p {
                    b { "Count " } "every egg that you bring in, then say how many of them you pulled. "
                    b { "Why: " } (why.join(", ")) ", or your own word; then kept at home, fed, composted \
                    or thrown away."
                }
                p {
                    b { "Birds " } "once a week. " b { "Weights " } "of single eggs, with spaces between. Names in " code { "type" }
                    " are the columns of a log that can be typed in and imported."
                }
                p {
                    "Dirty, floor-laid and cracked eggs apart from the clean ones; eggs that lay in flood \
                     water, and those of a coop on hold, not for anyone. Wash your hands before and after. "
                    (COUNTS_ONLY)
                }
            }
        }
    }
}
