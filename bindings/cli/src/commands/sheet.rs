use std::collections::BTreeMap;

use pointdown_core::book::{OnHand, Sheet};
use pointdown_core::farm::Farm;
use serde_json::{Value, json};

use super::review;
use crate::base::Base;
use crate::fail::Failure;
use crate::moments::Calendar;
use crate::tables::Screen;
use crate::words::{Words, label};

/// Stands under every sheet: the figures are a record, not a judgement.
const CAUTION: &str =
    "Where food is touched, local rules, labels and vets decide; this only counts.";

pub(crate) fn day(base: &Base, screen: &mut Screen<'_>, day: &str) -> Result<(), Failure> {
    let farm = base.open()?;
    let day = Calendar::of(&farm)?.day("day", day)?;
    show(&farm, screen, &farm.sheet(day, day)?)
}

/// The sheet, and how many questions wait: totals are only as good as what was decided.
fn show(farm: &Farm, screen: &mut Screen<'_>, sheet: &Sheet) -> Result<(), Failure> {
    if screen.json {
        return Ok(screen.value(&told(farm, sheet)?)?);
    }
    print(farm, screen, sheet, |_| Ok(()))
}

/// A sheet for programs, and how many questions wait.
pub(crate) fn told(farm: &Farm, sheet: &Sheet) -> Result<Value, Failure> {
    let (waiting, urgent) = review::waiting(farm)?;
    let mut all = json!(sheet);
    all["review"] = json!({"waiting": waiting, "urgent": urgent});
    Ok(all)
}

/// Prints a sheet for people, and how many questions wait; `more` stands before what is on hand.
pub(crate) fn print(
    farm: &Farm,
    screen: &mut Screen<'_>,
    sheet: &Sheet,
    more: impl FnOnce(&mut Screen<'_>) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let words = Words::of(farm)?;
    let name = farm.name()?.unwrap_or_else(|| "The farm".into());
    let zone = words.calendar.zone;
    screen.line(if sheet.from == sheet.to {
        format!("{name}, {} ({zone})", sheet.from.format("%A %-d %B %Y"))
    } else {
        let days = (sheet.to - sheet.from).num_days() + 1;
        format!(
            "{name}, {} to {}, {days} days ({zone})",
            sheet.from, sheet.to
        )
    })?;
    if let Some(waits) = review::waits(review::waiting(farm)?) {
        screen.line(format!("{waits} See them: pointdown review"))?;
    }
    gathered(screen, sheet)?;
    if sheet.pulled.eggs != 0 {
        screen.title(format!("Pulled: {}", eggs(sheet.pulled.eggs)))?;
        counts(screen, "reason", &sheet.pulled.by_reason)?;
        screen.line("")?;
        counts(screen, "use", &sheet.pulled.by_use)?;
    }
    titled(screen, "Cleaned", "means", &sheet.washed)?;
    titled(screen, "Candled", "quality", &sheet.candled)?;
    cartoned(screen, sheet)?;
    out(screen, sheet)?;
    let moved = &sheet.unaccounted;
    if moved.values().any(|n| *n != 0) {
        screen.title("Unaccounted, by recounts (below zero: more found than expected)")?;
        let rows = moved.iter().map(|(s, n)| [s.code().into(), n.to_string()]);
        screen.table(["species", "eggs"], &[1], rows)?;
    }
    if !sheet.mean_grams.is_empty() {
        screen.title("Mean weight of the eggs weighed")?;
        let all = sheet.mean_grams.iter();
        let rows = all.map(|(s, grams)| [s.code().into(), words.mass(*grams)]);
        screen.table(["species", "weight"], &[1], rows)?;
    }
    more(screen)?;
    screen.title(format!("On hand at the end of {}", sheet.to))?;
    stations(screen, &words, &sheet.on_hand)?;
    screen.title(CAUTION)?;
    Ok(())
}

fn gathered(screen: &mut Screen<'_>, sheet: &Sheet) -> Result<(), Failure> {
    let all = &sheet.gathered;
    let nobody = all.by_coop.iter().all(|row| row.eggs.is_none());
    screen.title(if nobody {
        "Gathered: unknown, nobody has logged a round".to_string()
    } else {
        // The sum is of what is known; what it leaves out is said beside it.
        let unknown: u32 = all.by_coop.iter().map(|row| row.days.unknown).sum();
        let gap = match (unknown, sheet.from == sheet.to) {
            (0, _) => String::new(),
            (1, true) => ", 1 flock unknown".into(),
            (n, true) => format!(", {n} flocks unknown"),
            (1, false) => ", 1 day of a flock unknown".into(),
            (n, false) => format!(", {n} days of a flock unknown"),
        };
        format!("Gathered: {}{gap}", eggs(all.eggs))
    })?;
    let known = |n: Option<i64>| n.map_or("unknown".into(), |n| n.to_string());
    if sheet.from == sheet.to {
        let rows = all.by_coop.iter().map(|row| {
            [
                row.name.clone(),
                row.species.code().into(),
                known(row.eggs),
                known(row.eggs.map(|_| row.floor_laid)),
                row.rounds.to_string(),
            ]
        });
        let heading = ["coop", "species", "eggs", "floor laid", "rounds"];
        screen.table(heading, &[2, 3, 4], rows)?;
    } else {
        let rows = all.by_coop.iter().map(|row| {
            [
                row.name.clone(),
                row.species.code().into(),
                known(row.eggs),
                known(row.eggs.map(|_| row.floor_laid)),
                row.days.known.to_string(),
                row.days.zero.to_string(),
                row.days.unknown.to_string(),
            ]
        });
        let heading = [
            "coop",
            "species",
            "eggs",
            "floor laid",
            "days known",
            "with none",
            "unknown",
        ];
        screen.table(heading, &[2, 3, 4, 5, 6], rows)?;
    }
    if !all.by_species.is_empty() {
        screen.line("")?;
        let rows = all
            .by_species
            .iter()
            .map(|(s, n)| [s.code().into(), n.to_string()]);
        screen.table(["species", "eggs"], &[1], rows)?;
    }
    if !all.by_person.is_empty() {
        screen.line("")?;
        let rows = all
            .by_person
            .iter()
            .map(|(name, n)| [who(name), n.to_string()]);
        screen.table(["person", "eggs"], &[1], rows)?;
    }
    Ok(())
}

/// A log that was taken over from paper says nobody.
fn who(name: &str) -> String {
    match name {
        "" => "not said".into(),
        name => name.into(),
    }
}

fn cartoned(screen: &mut Screen<'_>, sheet: &Sheet) -> Result<(), Failure> {
    if sheet.cartoned.is_empty() {
        return Ok(());
    }
    let cartons: i64 = sheet.cartoned.iter().map(|c| c.cartons).sum();
    let total: i64 = sheet.cartoned.iter().map(|c| c.eggs).sum();
    screen.title(format!("Cartoned: {} in {cartons} cartons", eggs(total)))?;
    let rows = sheet.cartoned.iter().map(|c| {
        [
            c.species.code().into(),
            if c.size.is_empty() {
                "not sized".into()
            } else {
                c.size.clone()
            },
            c.eggs_per_carton.to_string(),
            c.cartons.to_string(),
            c.eggs.to_string(),
        ]
    });
    let heading = ["species", "size", "to a carton", "cartons", "eggs"];
    Ok(screen.table(heading, &[2, 3, 4], rows)?)
}

fn out(screen: &mut Screen<'_>, sheet: &Sheet) -> Result<(), Failure> {
    if sheet.out.eggs.is_empty() {
        return Ok(());
    }
    screen.title("Out")?;
    let rows = sheet.out.eggs.iter().map(|(way, n)| {
        let cartons = sheet.out.cartons.get(way).copied().unwrap_or_default();
        [way.clone(), n.to_string(), cartons.to_string()]
    });
    Ok(screen.table(["way", "eggs", "cartons"], &[1, 2], rows)?)
}

/// A title with the sum, and the table below it, where there is anything.
fn titled(
    screen: &mut Screen<'_>,
    title: &str,
    of: &str,
    all: &BTreeMap<String, i64>,
) -> Result<(), Failure> {
    if all.is_empty() {
        return Ok(());
    }
    screen.title(format!("{title}: {}", eggs(all.values().sum())))?;
    counts(screen, of, all)
}

fn counts(screen: &mut Screen<'_>, of: &str, all: &BTreeMap<String, i64>) -> Result<(), Failure> {
    let rows = all.iter().map(|(word, n)| [label(word), n.to_string()]);
    Ok(screen.table([of, "eggs"], &[1], rows)?)
}

fn eggs(n: i64) -> String {
    format!("{n} {}", if n == 1 { "egg" } else { "eggs" })
}

pub(crate) fn on_hand(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let here = farm.on_hand()?;
    if screen.json {
        return Ok(screen.value(&here)?);
    }
    stations(screen, &Words::of(&farm)?, &here)?;
    Ok(screen.title(CAUTION)?)
}

fn stations(screen: &mut Screen<'_>, words: &Words, here: &[OnHand]) -> Result<(), Failure> {
    if here.is_empty() {
        return Ok(screen.line("  no eggs")?);
    }
    let mut short = false;
    let mut rows = Vec::new();
    for at in here {
        short |= at.lots.values().any(|n| *n < 0);
        let lots: Vec<_> = at
            .lots
            .iter()
            .map(|(lot, n)| format!("{}={n}", words.lot(lot)))
            .collect();
        rows.push([
            at.station.code().into(),
            at.species.code().into(),
            at.eggs.to_string(),
            lots.join(", "),
        ]);
    }
    screen.table(["station", "species", "eggs", "lots"], &[2], rows)?;
    if short {
        screen.line("Below zero: more left than ever came. Log what is missing, or amend.")?;
    }
    Ok(())
}
