use clap::builder::PossibleValuesParser;
use pointdown_core::record::{Body, Kind, Record, Station};
use pointdown_core::trade::Species;

use super::now::{age, held, which};
use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::tables::Screen;
use crate::words::Words;

/// `pointdown oldest`
#[derive(Debug, clap::Args)]
pub(crate) struct Oldest {
    /// What for: wash takes from the basket, pack from clean eggs, sell from cartons.
    #[arg(value_parser = PossibleValuesParser::new(["wash", "pack", "sell"]))]
    work: String,
    /// Whose eggs.
    #[arg(value_parser = species())]
    species: String,
    /// How many; all unless given.
    eggs: Option<u32>,
}

/// `pointdown even`
#[derive(Debug, clap::Args)]
pub(crate) struct Even {
    /// Whose eggs.
    #[arg(value_parser = species())]
    species: String,
    /// The weights of single eggs in grams, such as 58.2 61 63.5.
    #[arg(required_unless_present = "weighed")]
    grams: Vec<f64>,
    /// The weights of a logged weighing instead: its id, or the last characters of it.
    #[arg(
        long,
        value_name = "ID",
        allow_hyphen_values = true,
        conflicts_with = "grams"
    )]
    weighed: Option<String>,
    /// The carton sizes at hand.
    #[arg(long, value_delimiter = ',', default_value = "12,6")]
    sizes: Vec<u16>,
    /// Offer what a class leaves over to the next lighter one, where the rules let it.
    #[arg(long)]
    step_down: bool,
}

fn species() -> PossibleValuesParser {
    PossibleValuesParser::new(Species::ALL.map(Species::code))
}

fn of_word(word: &str) -> Result<Species, Failure> {
    Species::from_code(word).ok_or_else(|| invalid("species", word, "allowed is a species"))
}

pub(crate) fn oldest(base: &Base, screen: &mut Screen<'_>, ask: &Oldest) -> Result<(), Failure> {
    let farm = base.open()?;
    let station = match ask.work.as_str() {
        "wash" => Station::Basket,
        "pack" => Station::Clean,
        _ => Station::Cartoned,
    };
    let found = farm.suggest(station, of_word(&ask.species)?, ask.eggs)?;
    if screen.json {
        return Ok(screen.value(&found)?);
    }
    let words = Words::of(&farm)?;
    let at = farm.now()?.at;
    screen.line(format!(
        "To {}, the oldest first: {} {} eggs at station {}",
        ask.work,
        found.eggs,
        ask.species,
        station.code()
    ))?;
    let name = |lot: &Option<_>, run, code: &Option<String>| {
        which(&words, &ask.species, lot.as_ref(), run, code.as_deref())
    };
    let rows: Vec<_> = found
        .take
        .iter()
        .map(|t| {
            let old = age((at.ms() - t.laid.ms()).max(0) / 60_000);
            [name(&t.lot, t.run, &t.code), t.eggs.to_string(), old]
        })
        .collect();
    if !rows.is_empty() {
        screen.table(["which", "eggs", "age up to"], &[1], rows)?;
    }
    if !found.not_to_touch.is_empty() {
        screen.title("Not to be touched")?;
        let rows = found.not_to_touch.iter().map(|n| {
            let holds: Vec<_> = n.holds.iter().map(|h| format!("#{}", h.short())).collect();
            let what = name(&n.lot, n.run, &None);
            [
                what,
                n.eggs.to_string(),
                held(Some(n.held)).into(),
                holds.join(", "),
            ]
        });
        screen.table(["which", "eggs", "", "holds"], &[1], rows)?;
    }
    if found.short > 0 {
        screen.line(format!("{} eggs fewer than asked for.", found.short))?;
    }
    screen.line("")?;
    for reason in &found.why {
        screen.words("", &format!("{} ({})", reason.rule, reason.source))?;
    }
    screen.words("", &found.caution)?;
    Ok(screen.line("Nothing was logged: this is a suggestion.")?)
}

pub(crate) fn even(base: &Base, screen: &mut Screen<'_>, ask: &Even) -> Result<(), Failure> {
    let farm = base.open()?;
    let species = of_word(&ask.species)?;
    let grams = match &ask.weighed {
        None => ask.grams.clone(),
        Some(text) => {
            let id = farm.find_record(text)?;
            let row = farm.record(id)?;
            let record = row.and_then(|row| Record::read(row.id, &row.fields).ok());
            match record.map(|r| r.body) {
                Some(Body::Weigh(weigh)) if weigh.lot.species == species => weigh.grams,
                Some(Body::Weigh(weigh)) => {
                    let allowed = format!("allowed is {}", weigh.lot.species.code());
                    return Err(invalid("species", species.code(), allowed));
                }
                _ => {
                    let allowed = format!("allowed is a {}", Kind::Weigh.code());
                    return Err(invalid("weighed", text, allowed));
                }
            }
        }
    };
    let found = farm.even_cartons(species, &grams, &ask.sizes, ask.step_down)?;
    if screen.json {
        return Ok(screen.value(&found)?);
    }
    let words = Words::of(&farm)?;
    for group in found.value.groups.iter().filter(|g| !g.cartons.is_empty()) {
        screen.line(format!("{} ({})", group.class, group.species.code()))?;
        for carton in &group.cartons {
            let eggs: Vec<_> = carton.eggs.iter().map(|e| words.mass(e.weight.0)).collect();
            screen.line(format!(
                "  carton of {}: net {}, lightest to heaviest {} apart",
                carton.capacity,
                words.mass(round(carton.net.0)),
                words.mass(round(carton.range.0))
            ))?;
            screen.words("    ", &eggs.join(", "))?;
        }
        screen.words("  ", &group.why)?;
    }
    if !found.value.left_over.is_empty() {
        screen.title("Left over")?;
        let rows = found.value.left_over.iter().map(|left| {
            let at = usize::try_from(left.tag).unwrap_or(0).saturating_sub(1);
            let weight = grams.get(at).map_or(String::new(), |g| words.mass(*g));
            [left.tag.to_string(), weight, left.why.clone()]
        });
        screen.table(["egg", "weight", "why"], &[], rows)?;
    }
    screen.line("")?;
    for reason in &found.why {
        screen.words("", &format!("{} ({})", reason.rule, reason.source))?;
    }
    screen.words("", &found.caution)?;
    screen.words(
        "",
        "Only sound, clean eggs of an age to be packed: `pointdown now` says which those are.",
    )?;
    Ok(screen.line("Nothing was logged: this is a suggestion.")?)
}

fn round(grams: f64) -> f64 {
    (grams * 100.0).round() / 100.0
}
