use pointdown_core::book::span::{Laying, Span, Weighed};
use pointdown_core::record::InvalidRecord;
use serde_json::json;

use super::sheet;
use crate::base::Base;
use crate::fail::Failure;
use crate::moments::Calendar;
use crate::tables::Screen;
use crate::words::{Words, label};

#[derive(Debug, clap::Args)]
pub(crate) struct Range {
    /// The first day.
    #[arg(long, value_name = "DAY")]
    from: String,
    /// The last day; today unless given.
    #[arg(long, value_name = "DAY")]
    to: Option<String>,
    /// The weight classes to sort by, such as us or eu; those of the farm's rules unless given.
    #[arg(long, value_name = "SCHEME")]
    sizes: Option<String>,
}

pub(crate) fn range(base: &Base, screen: &mut Screen<'_>, args: &Range) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let from = calendar.day("from", &args.from)?;
    let to = calendar.day("to", args.to.as_deref().unwrap_or("today"))?;
    if to < from {
        let allowed = format!("allowed is {from} or later, the first day of the range");
        return Err(InvalidRecord::new("to", to, allowed).into());
    }
    let totals = farm.sheet(from, to)?;
    let span = farm.span(from, to, args.sizes.as_deref())?;
    if screen.json {
        let mut all = sheet::told(&farm, &totals)?;
        if let (Some(all), Some(span)) = (all.as_object_mut(), json!(span).as_object()) {
            all.extend(span.clone());
        }
        return Ok(screen.value(&all)?);
    }
    sheet::print(&farm, screen, &totals, |screen| {
        print(&Words::of(&farm)?, screen, &span)
    })
}

fn print(words: &Words, screen: &mut Screen<'_>, span: &Span) -> Result<(), Failure> {
    let counted = |all: &[Laying]| all.iter().any(|one| one.hen_days > 0);
    if counted(&span.laying) {
        screen.title("Laying (days with a gather and a headcount)")?;
        let all = span.laying.iter().chain(&span.laying_by_species);
        let rows = all.filter(|one| one.hen_days > 0).map(|one| {
            [
                one.name.clone(),
                one.species.code().into(),
                one.eggs_of_hen_days.to_string(),
                one.hen_days.to_string(),
                one.hen_day_percent
                    .map_or("unknown".into(), |p| format!("{p:.1} %")),
            ]
        });
        let heading = ["coop", "species", "eggs", "hen-days", "hen-day rate"];
        screen.table(heading, &[2, 3, 4], rows)?;
    }
    for weighed in span.weights.iter().filter(|w| w.coop.is_none()) {
        classes(words, screen, weighed)?;
    }
    Ok(())
}

fn classes(words: &Words, screen: &mut Screen<'_>, weighed: &Weighed) -> Result<(), Failure> {
    screen.title(format!(
        "{} {} eggs weighed: mean {}, from {} to {}",
        weighed.eggs,
        weighed.species.code(),
        words.mass(weighed.mean_grams),
        words.mass(weighed.least_grams),
        words.mass(weighed.most_grams)
    ))?;
    // Without rules of the farm's own every scheme is there for programs; a person chooses one.
    let [scheme] = weighed.classes.as_slice() else {
        return Ok(screen.line("  choose rules for the farm, or --sizes us or eu, for classes")?);
    };
    let mut rows: Vec<[String; 2]> = scheme
        .counts
        .iter()
        .map(|(class, n)| [label(class), n.to_string()])
        .collect();
    rows.push(["under all".into(), scheme.under.to_string()]);
    screen.table(["class", "eggs"], &[1], rows)?;
    Ok(screen.line(format!(
        "Each egg by its own weight; classes: {}",
        scheme.source
    ))?)
}
