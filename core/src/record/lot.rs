use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::Id;
use crate::trade::Species;

/// The eggs of one species gathered on one farm day, and of one coop where the farm keeps coops
/// apart. A value, not an entity: phones that never met name the same lot the same way.
///
/// Its text is `2026-11-25/hen`, or `2026-11-25/hen/<coop id>`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Lot {
    /// The farm day of the gather.
    pub day: NaiveDate,
    /// Whose eggs.
    pub species: Species,
    /// The coop, where lots are kept apart by coop.
    pub coop: Option<Id>,
}

impl Lot {
    /// The code for print: the ISO 8601 ordinal date and the species, for example `2026-329-hen`,
    /// with the last characters of the coop's id where coops are kept apart.
    pub fn code(&self) -> String {
        let mut code = format!(
            "{:04}-{:03}-{}",
            self.day.year(),
            self.day.ordinal(),
            self.species.code()
        );
        if let Some(coop) = self.coop {
            code = code + "-" + &coop.short();
        }
        code
    }
}

impl fmt::Display for Lot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.day, self.species.code())?;
        match self.coop {
            Some(coop) => write!(f, "/{coop}"),
            None => Ok(()),
        }
    }
}

impl FromStr for Lot {
    type Err = String;
    fn from_str(text: &str) -> Result<Lot, String> {
        let allowed = || "a lot is a day and a species, such as 2026-11-25/hen".to_string();
        let mut words = text.splitn(3, '/');
        let day = words
            .next()
            .and_then(|d| d.parse().ok())
            .ok_or_else(allowed)?;
        let species = words
            .next()
            .and_then(Species::from_code)
            .ok_or_else(allowed)?;
        let coop = words
            .next()
            .map(|c| c.parse().map_err(|_| allowed()))
            .transpose()?;
        Ok(Lot { day, species, coop })
    }
}

impl Serialize for Lot {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Lot {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Lot, D::Error> {
        String::deserialize(d)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

/// How many eggs of which lots.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Parts(pub BTreeMap<Lot, u32>);

impl Parts {
    /// All eggs together.
    pub fn eggs(&self) -> u32 {
        self.0.values().fold(0u32, |sum, n| sum.saturating_add(*n))
    }

    /// The species, where all parts are of one.
    pub fn species(&self) -> Option<Species> {
        let mut all = self.0.keys().map(|lot| lot.species);
        let first = all.next()?;
        all.all(|s| s == first).then_some(first)
    }
}

/// The code on the cartons of a run, in one of three forms: the one that was written down, else that
/// of its only lot; where lots were mixed, that of the day of packing with the end of the run's id.
pub fn run_code(
    written: Option<&str>,
    lots: impl IntoIterator<Item = Lot>,
    packed: NaiveDate,
    run: Id,
) -> String {
    if let Some(code) = written {
        return code.into();
    }
    let lots: Vec<Lot> = lots.into_iter().collect();
    match lots.as_slice() {
        [lot] => lot.code(),
        [lot, ..] => {
            let day = Lot {
                day: packed,
                coop: None,
                ..*lot
            };
            format!("{}-{}", day.code(), run.short())
        }
        [] => run.short(),
    }
}

/// Where eggs can be on the farm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Station {
    /// Gathered, not cleaned yet.
    Basket,
    /// Cleaned, or found clean.
    Clean,
    /// Packed in cartons.
    Cartoned,
}

impl Station {
    /// Every station, in the order of the flow.
    pub const ALL: [Station; 3] = [Station::Basket, Station::Clean, Station::Cartoned];

    /// The word in records and files.
    pub const fn code(self) -> &'static str {
        match self {
            Station::Basket => "basket",
            Station::Clean => "clean",
            Station::Cartoned => "cartoned",
        }
    }

    /// The station with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Station> {
        Station::ALL.into_iter().find(|s| s.code() == code)
    }
}
