use std::path::{Path, PathBuf};

use clap::Subcommand;
use clap::builder::PossibleValuesParser;
use pointdown_core::book::trace::Question;
use pointdown_core::farm::{Farm, LabelWish};
use pointdown_core::paper::{Paper, Stock};
use pointdown_core::record::Kind;
use pointdown_core::trade::Species;
use serde_json::json;

use super::disk::write;
use super::trends::Spans;
use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::moments::Calendar;
use crate::tables::Screen;

const SHEETS: &str = "\
Sheets of labels, by columns and rows:
  a4-2x4       99.1 x 67.7 mm      letter-2x3   4 x 3 1/3 in
  a4-2x7       99.1 x 38.1 mm      letter-2x5   4 x 2 in
  a4-3x7       63.5 x 38.1 mm      letter-2x10  4 x 1 in
  a4-3x8       70 x 37 mm          letter-3x10  2 5/8 x 1 in
  single-WIDTHxHEIGHT in mm, such as single-62x29 or single-100x50
Others by their measures: page, columns x rows, label, gaps sideways and down,
left and upper margin, unit: 'a4 3x7 63.5x38.1 2.5x0 7.25x15.15 mm'.
Where the labels are too small for all that has to be said, each carton takes two.";

#[derive(Debug, Subcommand)]
pub(crate) enum Page {
    /// Carton labels, with a code that traces the carton.
    #[command(after_help = SHEETS)]
    Labels(Labels),
    /// The combined totals of a day, or of several days.
    DaySheet {
        /// The day, or the first day; today unless given.
        #[arg(long, value_name = "DAY", default_value = "today")]
        day: String,
        /// The last day; the same day unless given.
        #[arg(long, value_name = "DAY")]
        to: Option<String>,
        #[command(flatten)]
        paper: PaperArg,
        /// The page to write. An older one is replaced.
        #[arg(long, value_name = "FILE.html", default_value = "day-sheet.html")]
        out: PathBuf,
    },
    /// Blank lines for a coop's rounds, to write on while a phone is dead.
    GatherSheet {
        /// Only this coop; every coop in use unless given.
        #[arg(long)]
        coop: Option<String>,
        /// The first day; today unless given.
        #[arg(long, value_name = "DAY", default_value = "today")]
        from: String,
        /// How many days.
        #[arg(long, value_name = "N", default_value_t = 7)]
        days: u32,
        /// Lines for each day.
        #[arg(long, value_name = "N", default_value_t = 2)]
        rounds: u32,
        #[command(flatten)]
        paper: PaperArg,
        /// The page to write. An older one is replaced.
        #[arg(long, value_name = "FILE.html", default_value = "gather-sheet.html")]
        out: PathBuf,
    },
    /// Whom to phone about eggs that should come back, and what to set apart.
    CallBack {
        /// A gather, cleaning batch, carton run, hold or cooler reading: its id or the end of it, or a
        /// printed code. Instead, a coop and days.
        #[arg(allow_hyphen_values = true, conflicts_with_all = ["coop", "from", "to", "species"])]
        record: Option<String>,
        /// The eggs of this coop; of every coop unless given.
        #[arg(long)]
        coop: Option<String>,
        /// Only this species.
        #[arg(long)]
        species: Option<String>,
        /// The first farm day.
        #[arg(long, value_name = "DAY", required_unless_present = "record")]
        from: Option<String>,
        /// The last farm day; the same day unless given.
        #[arg(long, value_name = "DAY")]
        to: Option<String>,
        #[command(flatten)]
        paper: PaperArg,
        /// The page to write. An older one is replaced.
        #[arg(long, value_name = "FILE.html", default_value = "call-back.html")]
        out: PathBuf,
    },
    /// Trends with pictures and tables; see `pointdown trends`.
    Trends {
        #[command(flatten)]
        spans: Spans,
        #[command(flatten)]
        paper: PaperArg,
        /// The page to write. An older one is replaced.
        #[arg(long, value_name = "FILE.html", default_value = "trends.html")]
        out: PathBuf,
    },
}

#[derive(Debug, clap::Args)]
pub(crate) struct Labels {
    /// The run of cartons: its printed code, or the end of its id.
    #[arg(allow_hyphen_values = true)]
    carton: String,
    /// The labels in the printer; unless given, sheets that hold all that has to be said.
    #[arg(long, value_name = "SHEET")]
    sheet: Option<String>,
    /// The first free label of a partly used sheet, from 1, row by row.
    #[arg(long, value_name = "N", default_value_t = 1)]
    first: u32,
    /// How many cartons to label; those of the run unless given.
    #[arg(long, value_name = "N")]
    cartons: Option<u32>,
    /// You say that the eggs were weighed; without it, the weights on record do.
    #[arg(long)]
    weighed: bool,
    /// You say that each egg was candled and graded; without it, the candlings on record do.
    #[arg(long)]
    graded: bool,
    /// The code that an authority gave the producer.
    #[arg(long, value_name = "CODE")]
    producer_code: Option<String>,
    /// Further words, which have to be true; may stand several times.
    #[arg(long, value_name = "WORDS")]
    claim: Vec<String>,
    /// The page to write; labels.html unless given. An older one is replaced.
    #[arg(long, value_name = "FILE.html", default_value = "labels.html")]
    out: PathBuf,
}

#[derive(Debug, clap::Args)]
pub(crate) struct PaperArg {
    /// The paper in the printer; unless given, what is usual under the farm's rules.
    #[arg(long, value_parser = PossibleValuesParser::new(Paper::ALL.iter().map(|p| p.code())))]
    paper: Option<String>,
}

impl PaperArg {
    fn read(&self, farm: &Farm) -> Result<Paper, Failure> {
        match &self.paper {
            None => Ok(farm.usual_paper()?),
            Some(code) => Paper::from_code(code)
                .ok_or_else(|| invalid("paper", code, "allowed are a4 and letter")),
        }
    }
}

pub(crate) fn page(base: &Base, screen: &mut Screen<'_>, page: &Page) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    match page {
        Page::Labels(wanted) => labels(&farm, screen, wanted),
        Page::DaySheet {
            day,
            to,
            paper,
            out,
        } => {
            let from = calendar.day("day", day)?;
            let to = to.as_deref().map(|to| calendar.day("to", to)).transpose()?;
            let page = farm.day_sheet_page(from, to.unwrap_or(from), paper.read(&farm)?)?;
            done(screen, out, &page.html)
        }
        Page::GatherSheet {
            coop,
            from,
            days,
            rounds,
            paper,
            out,
        } => {
            let coop = coop
                .as_deref()
                .map(|name| farm.find(Kind::Coop, name))
                .transpose()?;
            let from = calendar.day("from", from)?;
            let page = farm.gather_sheet_page(coop, from, (*days, *rounds), paper.read(&farm)?)?;
            done(screen, out, &page.html)
        }
        Page::CallBack {
            record,
            coop,
            species,
            from,
            to,
            paper,
            out,
        } => {
            let question = match (record, from) {
                (Some(record), _) => Question::Record {
                    record: farm
                        .find_carton(record)
                        .or_else(|_| farm.find_record(record))?,
                },
                (None, from) => {
                    let from = from.as_deref().unwrap_or("today");
                    let first = calendar.day("from", from)?;
                    let to = to.as_deref().map(|to| calendar.day("to", to)).transpose()?;
                    Question::Coop {
                        coop: coop
                            .as_deref()
                            .map(|name| farm.find(Kind::Coop, name))
                            .transpose()?,
                        species: species.as_deref().map(species_of).transpose()?,
                        first,
                        last: to.unwrap_or(first),
                    }
                }
            };
            let page = farm.call_back_page(question, paper.read(&farm)?)?;
            done(screen, out, &page.html)
        }
        Page::Trends { spans, paper, out } => {
            let asked = spans.read(&farm)?;
            let days = (asked.from, asked.to);
            let page = farm.trend_page(days, asked.step, asked.coop, paper.read(&farm)?)?;
            done(screen, out, &page.html)
        }
    }
}

fn labels(farm: &Farm, screen: &mut Screen<'_>, wanted: &Labels) -> Result<(), Failure> {
    let out = &wanted.out;
    let stock: Stock = match &wanted.sheet {
        Some(text) => text.parse()?,
        None => Stock::usual(farm.usual_paper()?).parse()?,
    };
    let wish = LabelWish {
        first: wanted.first,
        cartons: wanted.cartons,
        weighed: wanted.weighed.then_some(true),
        graded: wanted.graded.then_some(true),
        producer_code: wanted.producer_code.clone(),
        claims: wanted.claim.clone(),
        ..LabelWish::new(farm.find_carton(&wanted.carton)?, stock)
    };
    let labels = farm.label_page(&wish)?;
    write(out, &labels.page.html)?;
    if screen.json {
        let all = json!({
            "file": out.display().to_string(),
            "sheets": labels.sheets,
            "labels_per_carton": labels.labels_per_carton,
            "next_free": labels.next_free,
            "cautions": labels.cautions,
        });
        return Ok(screen.value(&all)?);
    }
    let sheets = match labels.sheets {
        1 => "1 sheet".to_owned(),
        n => format!("{n} sheets"),
    };
    screen.line(format!("{}: {sheets} of {}.", out.display(), wish.stock))?;
    match labels.next_free {
        Some(n) if wish.stock.labels() > 1 => {
            screen.line(format!(
                "The next free label of the last sheet is number {n}."
            ))?;
        }
        _ => {}
    }
    for caution in &labels.cautions {
        screen.line(format!("- {caution}"))?;
    }
    Ok(())
}

fn species_of(text: &str) -> Result<Species, Failure> {
    Species::from_code(text).ok_or_else(|| {
        let words: Vec<&str> = Species::ALL.iter().map(|s| s.code()).collect();
        invalid("species", text, format!("allowed are {}", words.join(", ")))
    })
}

fn done(screen: &mut Screen<'_>, out: &Path, html: &str) -> Result<(), Failure> {
    write(out, html)?;
    if screen.json {
        return Ok(screen.value(&json!({"file": out.display().to_string()}))?);
    }
    Ok(screen.line(format!(
        "{}: open it in a browser and print it at 100 %.",
        out.display()
    ))?)
}
