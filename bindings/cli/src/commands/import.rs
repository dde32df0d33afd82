use std::path::PathBuf;

use clap::builder::PossibleValuesParser;
use pointdown_core::farm::{ErrorKind, Farm, FarmError, Location};
use pointdown_core::files::{DateOrder, LogMap, LogPlan, Report, WeightUnit, is_records};
use pointdown_core::trade::Species;

use super::disk;
use super::setup::{newcomer, settle, who};
use crate::base::{Base, env};
use crate::fail::{Failure, invalid};
use crate::tables::Screen;

#[derive(Debug, clap::Args)]
pub(crate) struct Import {
    /// The file: a bundle or records that Pointdown exported, or with --map a log of your own.
    file: PathBuf,
    /// Take a household's own table: which of its columns holds what, such as
    /// 'date=Date,coop=Henhouse,eggs=Count'. Allowed are date, time, coop, species, eggs, weights
    /// (several in a cell, parted by semicolons or blanks), birds, note. On the right a heading, or #2
    /// for the second column; a comma within a heading is written \,.
    #[arg(long, value_name = "MAP")]
    map: Option<String>,
    /// Add nothing; print what would be added and every row that cannot be read.
    #[arg(long)]
    dry_run: bool,
    /// How the log writes dates; unless given, as they can only be meant. 2026-11-25 always works.
    #[arg(long, requires = "map", value_parser = PossibleValuesParser::new(DateOrder::ALL.map(|(word, _)| word)))]
    dates: Option<String>,
    /// The coop of rows that name none.
    #[arg(long, requires = "map", value_name = "NAME")]
    coop: Option<String>,
    /// The species of rows that name none.
    #[arg(long, requires = "map", value_parser = PossibleValuesParser::new(Species::ALL.map(Species::code)))]
    species: Option<String>,
    /// The unit of weights that name none; the farm's own unless given.
    #[arg(long, requires = "map", value_parser = PossibleValuesParser::new(["g", "oz"]))]
    weights_in: Option<String>,
    /// Add coops that the farm does not know.
    #[arg(long, requires = "map")]
    new_coops: bool,
    /// Who logs here; needed where no farm is here yet.
    #[arg(long)]
    person: Option<String>,
    /// A name for this device; needed where no farm is here yet.
    #[arg(long)]
    device: Option<String>,
}

pub(crate) fn import(base: &Base, screen: &mut Screen<'_>, args: &Import) -> Result<(), Failure> {
    let bytes = disk::read(&args.file)?;
    if let Some(map) = &args.map {
        let farm = base.open()?;
        let report = farm.import_log(&bytes, &plan(args, map)?, args.dry_run)?;
        return print(screen, &report, args.dry_run, true);
    }
    if is_records(&bytes) {
        return records(base, screen, args, &bytes);
    }
    bundle(base, screen, args, &bytes)
}

fn plan(args: &Import, map: &str) -> Result<LogPlan, Failure> {
    let map: LogMap = map.parse()?;
    let mut plan = LogPlan::new(map);
    if let Some(word) = &args.dates {
        plan.dates = word
            .parse()
            .map_err(|why: String| invalid("dates", word, why))?;
    }
    if let Some(word) = &args.weights_in {
        let unit: WeightUnit = word
            .parse()
            .map_err(|why: String| invalid("weights-in", word, why))?;
        plan.unit = Some(unit);
    }
    plan.species = args.species.as_deref().and_then(Species::from_code);
    plan.coop = args.coop.clone();
    plan.new_coops = args.new_coops;
    Ok(plan)
}

fn records(
    base: &Base,
    screen: &mut Screen<'_>,
    args: &Import,
    bytes: &[u8],
) -> Result<(), Failure> {
    let report = match base.open_if_there()? {
        Some(farm) => farm.import_records(bytes, args.dry_run)?,
        None => {
            let names = (args.person.clone(), args.device.clone());
            let (person, device) = newcomer(&names)?;
            let (trial, report) = Farm::from_records(&Location::Memory, env(), bytes)?;
            settle(&trial, person, device)?;
            if args.dry_run {
                report
            } else {
                base.make_folder()?;
                let (farm, report) = Farm::from_records(&base.location(), env(), bytes)?;
                settle(&farm, person, device)?;
                report
            }
        }
    };
    print(screen, &report, args.dry_run, false)
}

fn print(screen: &mut Screen<'_>, report: &Report, dry: bool, log: bool) -> Result<(), Failure> {
    if screen.json {
        return Ok(screen.value(report)?);
    }
    let would = if dry { "would add" } else { "added" };
    screen.line(format!(
        "Read {} rows: {would} {}, {} bring nothing new, {} cannot be taken.",
        report.read,
        report.added,
        report.skipped,
        report.errors.len()
    ))?;
    if !report.errors.is_empty() {
        let rows = report
            .errors
            .iter()
            .map(|e| [e.row.to_string(), e.why.clone()]);
        screen.table(["row", "why"], &[0], rows)?;
    }
    if log && !dry && report.added > 0 {
        screen.line(
            "The eggs that were added stand in the basket now. Count what is really there, for\n\
             each species, and log it: pointdown log recount station=basket species=hen counted=0",
        )?;
    }
    Ok(())
}

fn bundle(
    base: &Base,
    screen: &mut Screen<'_>,
    args: &Import,
    bytes: &[u8],
) -> Result<(), Failure> {
    if args.dry_run {
        let allowed = "allowed for records and, with --map, for a log of your own";
        return Err(invalid("dry-run", "a bundle", allowed));
    }
    let (farm, taken) = match base.open_if_there()? {
        Some(farm) => {
            let taken = farm.import(bytes).map_err(hinted)?;
            (farm, taken.changes)
        }
        None => {
            let names = (args.person.clone(), args.device.clone());
            let (person, device) = newcomer(&names)?;
            // Once in memory, so that a file that cannot be taken leaves no database behind.
            let trial = Farm::from_export(&Location::Memory, env(), bytes).map_err(hinted)?;
            settle(&trial, person, device)?;
            base.make_folder()?;
            let farm = Farm::make(&base.location(), env(), trial.id())?;
            let taken = farm.import(bytes)?;
            settle(&farm, person, device)?;
            (farm, taken.changes)
        }
    };
    if screen.json {
        let mut all = who(base, &farm)?;
        all["changes"] = taken.into();
        all["records"] = farm.record_count()?.into();
        return Ok(screen.value(&all)?);
    }
    let name = farm.name()?.unwrap_or_else(|| "The farm".into());
    screen.line(match taken {
        0 => "Nothing new in it.".to_string(),
        1 => "Took 1 change.".to_string(),
        n => format!("Took {n} changes."),
    })?;
    Ok(screen.line(format!("{name} has {} records here.", farm.record_count()?))?)
}

/// Someone who hands over a table of their own learns how.
fn hinted(mut e: FarmError) -> FarmError {
    if e.kind == ErrorKind::Damaged && e.message.contains("no export of Pointdown") {
        e.message
            .push_str("; a log of your own needs --map, a backup `pointdown restore`");
    }
    e
}
