use clap::builder::PossibleValuesParser;
use pointdown_core::farm::{CountOf, Stocktake};
use pointdown_core::record::{Kind, Lot, Station};
use pointdown_core::trade::Species;

use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::input::{Reader, pairs};
use crate::moments::Calendar;
use crate::tables::Screen;
use crate::words::Words;

/// `pointdown stocktake`
#[derive(Debug, clap::Args)]
pub(crate) struct StocktakeArgs {
    /// The station that was counted.
    #[arg(value_parser = PossibleValuesParser::new(Station::ALL.map(Station::code)))]
    station: String,
    /// What was found: a lot, such as today/hen=24, or a species as a whole, such as hen=60.
    #[arg(value_name = "LOT=EGGS", required = true)]
    counts: Vec<String>,
    /// When it was counted; now unless given.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
}

pub(crate) fn stocktake(
    base: &Base,
    screen: &mut Screen<'_>,
    ask: &StocktakeArgs,
) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let reader = Reader {
        farm: &farm,
        calendar,
        kind: Kind::Recount,
        amends: false,
    };
    let station = Station::from_code(&ask.station)
        .ok_or_else(|| invalid("station", &ask.station, "allowed is a station"))?;
    let mut counts = Vec::new();
    for (of, eggs) in pairs(&ask.counts)? {
        let eggs: u32 = eggs.parse().map_err(|_| {
            let allowed = "allowed are whole numbers from 0 to 10000";
            invalid("counted", eggs, allowed)
        })?;
        let of = match Species::from_code(of) {
            Some(species) => CountOf::Species(species),
            None => {
                let lot: Result<Lot, String> = reader.lot(of)?.parse();
                CountOf::Lot(lot.map_err(|allowed| invalid("lot", of, allowed))?)
            }
        };
        counts.push((of, eggs));
    }
    let at = ask
        .at
        .as_deref()
        .map(|at| calendar.moment(at))
        .transpose()?;
    let found = farm.stocktake(station, &counts, at)?;
    if screen.json {
        return Ok(screen.value(&found)?);
    }
    print(screen, &Words::of(&farm)?, &found)
}

fn print(screen: &mut Screen<'_>, words: &Words, found: &Stocktake) -> Result<(), Failure> {
    let station = found.station.code();
    let at = words.calendar.shown(found.at);
    screen.line(format!("Stocktake at station {station}, {at}"))?;
    let name = |of: &CountOf| match of {
        CountOf::Lot(lot) => words.lot(lot),
        CountOf::Species(species) => species.code().into(),
    };
    let rows = found.counted.iter().map(|c| {
        [
            name(&c.of),
            c.expected.to_string(),
            c.counted.to_string(),
            format!("{:+}", c.difference),
            c.record.short(),
        ]
    });
    let heading = ["which", "expected", "counted", "difference", "recount"];
    screen.table(heading, &[1, 2, 3], rows)?;
    for counted in found.counted.iter().filter(|c| c.difference != 0) {
        let of = name(&counted.of);
        if counted.explained_by.is_empty() {
            screen.words(
                "",
                &format!(
                    "{of}: no earlier line of the review list is about it. Look for eggs that were pulled, eaten \
                     or gathered and not logged."
                ),
            )?;
        }
        if let Some(tag) = &counted.line {
            let about = "counted again, voided or seen: pointdown review, then pointdown decide";
            screen.words(
                "",
                &format!("{of}: on the review list as {tag}, to be {about}"),
            )?;
        }
        for line in &counted.explained_by {
            let records: Vec<_> = line
                .records
                .iter()
                .map(|r| format!("#{}", r.short()))
                .collect();
            let kind = line.line.split('/').next().unwrap_or_default();
            screen.words(
                "",
                &format!(
                    "{of}: the review list has a line ({kind}) about {}",
                    records.join(", ")
                ),
            )?;
        }
    }
    if !found.not_counted.is_empty() {
        let lots: Vec<_> = found
            .not_counted
            .iter()
            .map(|(lot, n)| format!("{}={n}", words.lot(lot)))
            .collect();
        screen.words(
            "",
            &format!("Expected there and not counted: {}", lots.join(", ")),
        )?;
    }
    Ok(())
}
