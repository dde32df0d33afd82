use pointdown_core::book::due::{Due, Here, Now, What};
use pointdown_core::book::trace::Share;
use pointdown_core::record::{Id, Lot};

use crate::base::Base;
use crate::fail::Failure;
use crate::tables::Screen;
use crate::words::Words;

pub(crate) fn now(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let now = farm.now()?;
    if screen.json {
        return Ok(screen.value(&now)?);
    }
    print(screen, &Words::of(&farm)?, &now)
}

fn print(screen: &mut Screen<'_>, words: &Words, now: &Now) -> Result<(), Failure> {
    screen.line(format!("Now, {}", words.calendar.shown(now.at)))?;
    let rules = match &now.rules {
        Some(rules) => format!("Rules: {rules}"),
        None => "Rules: none chosen, so only habits of the trade and holds are due".into(),
    };
    screen.words("", &rules)?;
    screen.title("Here, the oldest first")?;
    if now.here.is_empty() {
        screen.line("  no eggs")?;
    } else {
        let rows = now.here.iter().map(|here| {
            [
                here.place.code().into(),
                which(
                    words,
                    here.species.code(),
                    here.lot.as_ref(),
                    here.run,
                    here.code.as_deref(),
                ),
                here.eggs.to_string(),
                age(here.age_minutes),
                held(here.held).into(),
            ]
        });
        screen.table(["station", "which", "eggs", "age up to", ""], &[2], rows)?;
    }
    screen.title("Due, the earliest first")?;
    if now.due.is_empty() {
        screen.line("  nothing")?;
    }
    let reasons = now.reasons();
    for (due, of) in now.due.iter().zip(&reasons.of) {
        let of: Vec<String> = of.iter().map(usize::to_string).collect();
        screen.words("  ", &format!("{} [{}]", line(words, due), of.join(", ")))?;
    }
    if !reasons.all.is_empty() {
        screen.title("Why")?;
    }
    for (n, reason) in (1..).zip(&reasons.all) {
        screen.words("  ", &format!("[{n}] {} ({})", reason.rule, reason.source))?;
    }
    screen.title("Cautions")?;
    for caution in now.cautions() {
        screen.words("  ", caution)?;
    }
    if now.here.iter().any(|here: &Here| !here.known_round) {
        screen.words(
            "  ",
            "Of some eggs no gather is known; they count as laid the day before their lot.",
        )?;
    }
    Ok(())
}

fn line(words: &Words, due: &Due) -> String {
    let what = match due.what {
        What::SetApart => "set apart",
        What::Cooler => "cooler",
        What::Chill => "chill by",
        What::Wash => "clean by",
        What::Candle => "candle by",
        What::Pack => "pack by",
        What::Sell => "sell by",
        What::BestBy => "best by",
        What::HoldEnds => "hold ends",
        What::Brush => "replace brush",
    };
    let when = match (due.due, due.what) {
        (None, _) => "no date".into(),
        (Some(at), What::SetApart | What::Cooler) => format!("since {}", words.calendar.shown(at)),
        (Some(at), _) => words.calendar.until(at),
    };
    let mut text = format!("{what}: {when}");
    let overdue = due.overdue && !matches!(due.what, What::SetApart | What::Cooler);
    if overdue {
        text += " OVERDUE";
    }
    if due.eggs > 0 {
        let species = due.species.map_or("", |s| s.code());
        let which = which(
            words,
            species,
            due.lot.as_ref(),
            due.run,
            due.code.as_deref(),
        );
        text += &format!(", {} eggs, {which}", due.eggs);
    } else if let Some(species) = due.species {
        text += &format!(", {} eggs", species.code());
    }
    if let Some(name) = &due.name {
        text += &format!(", {name}");
    }
    if due.held == Some(Share::May) {
        text += ", some may be held";
    }
    text
}

/// A lot or a carton run for people.
pub(crate) fn which(
    words: &Words,
    species: &str,
    lot: Option<&Lot>,
    run: Option<Id>,
    code: Option<&str>,
) -> String {
    let cartons = match (run, code) {
        // One that ends in the run's id says it already.
        (Some(run), Some(code)) if code.ends_with(&run.short()) => format!("cartons {code}"),
        (Some(run), Some(code)) => format!("cartons {code} #{}", run.short()),
        (Some(run), None) => format!("cartons #{}", run.short()),
        _ => String::new(),
    };
    let lot = lot.map_or(species.to_string(), |lot| words.lot(lot));
    format!("{cartons} {lot}").trim().into()
}

/// Elapsed minutes for people.
pub(crate) fn age(minutes: i64) -> String {
    match minutes {
        0..=119 => format!("{minutes} min"),
        120..=2879 => format!("{} h", minutes / 60),
        _ => format!("{} days", minutes / 1440),
    }
}

pub(crate) fn held(share: Option<Share>) -> &'static str {
    match share {
        Some(Share::All) => "held",
        Some(Share::May) => "some may be held",
        None => "",
    }
}
