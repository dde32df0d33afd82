use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Move, Place};
use crate::record::{Body, Id, Lot, Parts, Record, Zone};
use crate::trade::Species;

/// What a line of a day counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Gather records: a day with a round that found nothing is zero, a day without is unknown.
    Rounds,
    /// Eggs gathered.
    Gathered,
    /// Of these, eggs not laid in a nest.
    FloorLaid,
    /// Eggs pulled; detail is `reason/use`.
    Pulled,
    /// Eggs cleaned; detail is the means.
    Washed,
    /// Eggs looked through; detail is the quality found.
    Candled,
    /// Eggs packed; detail is `eggs per carton/size`.
    Cartoned,
    /// Cartons packed; detail as for [`Measure::Cartoned`].
    Cartons,
    /// Eggs that left; detail is the way.
    Out,
    /// Cartons that left; detail is the way.
    OutCartons,
    /// Eggs weighed.
    Weighed,
    /// Their weight together, in hundredths of a gram.
    Centigrams,
    /// Eggs that a recount missed; below zero where it found more than expected.
    Unaccounted,
}

impl Measure {
    /// Every measure.
    pub const ALL: [Measure; 13] = [
        Measure::Rounds,
        Measure::Gathered,
        Measure::FloorLaid,
        Measure::Pulled,
        Measure::Washed,
        Measure::Candled,
        Measure::Cartoned,
        Measure::Cartons,
        Measure::Out,
        Measure::OutCartons,
        Measure::Weighed,
        Measure::Centigrams,
        Measure::Unaccounted,
    ];

    /// The word in tables.
    pub const fn code(self) -> &'static str {
        match self {
            Measure::Rounds => "rounds",
            Measure::Gathered => "gathered",
            Measure::FloorLaid => "floor_laid",
            Measure::Pulled => "pulled",
            Measure::Washed => "washed",
            Measure::Candled => "candled",
            Measure::Cartoned => "cartoned",
            Measure::Cartons => "cartons",
            Measure::Out => "out",
            Measure::OutCartons => "out_cartons",
            Measure::Weighed => "weighed",
            Measure::Centigrams => "centigrams",
            Measure::Unaccounted => "unaccounted",
        }
    }

    /// The measure with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Measure> {
        Measure::ALL.into_iter().find(|m| m.code() == code)
    }
}

/// One amount of one farm day. Lines with the same key are added up.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Line {
    /// The farm day.
    pub day: NaiveDate,
    /// What is counted.
    pub measure: Measure,
    /// The coop, where the record names one.
    pub coop: Option<Id>,
    /// Whose eggs.
    pub species: Species,
    /// Who did it.
    pub by: Option<Id>,
    /// A finer division, by measure.
    pub detail: String,
    /// The amount.
    pub n: i64,
}

/// What a live record adds to its farm day. The `settled` moves of a recount come from
/// [`super::settle`]; other records have none.
pub fn lines(record: &Record, zone: Zone, settled: &[Move]) -> Vec<Line> {
    let day = zone.day(record.at);
    let line = |measure, species, coop, detail: &str, n: i64| Line {
        day,
        measure,
        coop,
        species,
        by: record.by,
        detail: detail.to_string(),
        n,
    };
    let parts = |measure, parts: &Parts, detail: &str| -> Vec<Line> {
        parts
            .0
            .iter()
            .map(|(lot, n)| line(measure, lot.species, lot.coop, detail, i64::from(*n)))
            .collect()
    };
    match &record.body {
        Body::Gather(g) => vec![
            line(Measure::Rounds, g.species, Some(g.coop), "", 1),
            line(
                Measure::Gathered,
                g.species,
                Some(g.coop),
                "",
                i64::from(g.count),
            ),
            line(
                Measure::FloorLaid,
                g.species,
                Some(g.coop),
                "",
                i64::from(g.floor_laid),
            ),
        ],
        Body::Cull(c) => parts(
            Measure::Pulled,
            &c.parts,
            &format!("{}/{}", c.reason, c.used_for),
        ),
        Body::Wash(w) => parts(Measure::Washed, &w.parts, &w.means),
        Body::Candle(c) => {
            let Some(species) = c.parts.species() else {
                return Vec::new();
            };
            c.found
                .iter()
                .map(|(quality, n)| line(Measure::Candled, species, None, quality, i64::from(*n)))
                .collect()
        }
        Body::Carton(c) => {
            let detail = format!("{}/{}", c.eggs_per_carton, c.size.as_deref().unwrap_or(""));
            let mut all = parts(Measure::Cartoned, &c.parts, &detail);
            all.push(line(
                Measure::Cartons,
                c.species,
                None,
                &detail,
                i64::from(c.cartons),
            ));
            all
        }
        Body::Out(o) => {
            let mut all = parts(Measure::Out, &o.parts, &o.way);
            if let (Some(cartons), Some(species)) = (o.cartons, o.parts.species()) {
                all.push(line(
                    Measure::OutCartons,
                    species,
                    None,
                    &o.way,
                    i64::from(cartons),
                ));
            }
            all
        }
        Body::Weigh(w) => {
            let Lot { species, coop, .. } = w.lot;
            let centigrams = w.grams.iter().map(|g| (g * 100.0).round() as i64).sum();
            vec![
                line(Measure::Weighed, species, coop, "", w.grams.len() as i64),
                line(Measure::Centigrams, species, coop, "", centigrams),
            ]
        }
        Body::Recount(_) => settled
            .iter()
            .map(|m| {
                let n = i64::from(m.eggs) * if m.to == Place::Unaccounted { 1 } else { -1 };
                line(Measure::Unaccounted, m.lot.species, m.lot.coop, "", n)
            })
            .collect(),
        _ => Vec::new(),
    }
}
