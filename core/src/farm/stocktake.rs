use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::{Farm, FarmError};
use crate::book::Place;
use crate::book::review::{Finding, What};
use crate::record::{Draft, Id, Instant, InvalidRecord, Kind, Lot, Station};
use crate::trade::Species;

/// What was counted at a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CountOf {
    /// The eggs of one lot.
    Lot(Lot),
    /// The eggs of a species, whatever their lots.
    Species(Species),
}

/// One count of a stocktake.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Counted {
    /// Of what.
    pub of: CountOf,
    /// What the book expected.
    pub expected: i64,
    /// What was there.
    pub counted: u32,
    /// Counted less expected.
    pub difference: i64,
    /// The difference by lot, where it is not nothing.
    pub by_lot: BTreeMap<Lot, i64>,
    /// The recount that was logged.
    pub record: Id,
    /// Lines of the review list, as they stood before the count, about records of these lots that
    /// moved eggs here: what may be behind a difference.
    pub explained_by: Vec<Finding>,
    /// The tag of the count's own line on the review list, where it differs.
    pub line: Option<String>,
}

/// A station counted over.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stocktake {
    /// Where.
    pub station: Station,
    /// When.
    pub at: Instant,
    /// What was counted.
    pub counted: Vec<Counted>,
    /// Lots that the book expects there and nobody counted.
    pub not_counted: BTreeMap<Lot, i64>,
}

impl CountOf {
    fn species(self) -> Species {
        match self {
            CountOf::Lot(lot) => lot.species,
            CountOf::Species(species) => species,
        }
    }

    fn covers(self, lot: &Lot) -> bool {
        match self {
            CountOf::Lot(own) => own == *lot,
            CountOf::Species(species) => lot.species == species,
        }
    }
}

impl Farm {
    /// Logs what was counted at a station as recounts of one moment (now unless said), and holds it
    /// against the book. Nothing is logged where one of the counts is not allowed.
    ///
    /// # Errors
    /// [`super::ErrorKind::Invalid`] for no count at all, a lot counted twice, or a lot and its whole
    /// species.
    pub fn stocktake(
        &self,
        station: Station,
        counts: &[(CountOf, u32)],
        at: Option<Instant>,
    ) -> Result<Stocktake, FarmError> {
        let mut seen: BTreeSet<CountOf> = BTreeSet::new();
        for (of, n) in counts {
            let twice = seen.iter().any(|other| match (other, of) {
                (CountOf::Lot(a), CountOf::Lot(b)) => a == b,
                (a, b) => a.species() == b.species(),
            });
            if twice {
                let allowed = "allowed is each lot once, or a species as a whole";
                return Err(InvalidRecord::new("count", word(*of), allowed).into());
            }
            seen.insert(*of);
            self.allows(&draft(station, *of, *n, at))?;
        }
        if counts.is_empty() {
            let allowed = "allowed are lots or species with what was found";
            return Err(InvalidRecord::missing("count", allowed).into());
        }
        let at = at.unwrap_or(self.env.now());
        let review = self.review()?;
        let mut counted = Vec::new();
        for (of, n) in counts {
            let logged = self.log(draft(station, *of, *n, Some(at)))?;
            counted.push(self.difference(&review, *of, *n, logged.id, station.into())?);
        }
        let after = self.review()?;
        for count in &mut counted {
            let own = after.iter().find(|f| {
                f.records.first() == Some(&count.record) && matches!(f.what, What::Stocktake { .. })
            });
            count.line = own.map(Finding::tag);
        }
        let place = Place::from(station);
        let left = self
            .lock()
            .store
            .read::<_, FarmError>(|tx| Ok(tx.balances_at(place)?))?;
        let not_counted = left
            .into_iter()
            .filter(|(lot, n)| *n != 0 && !seen.iter().any(|of| of.covers(lot)))
            .collect();
        Ok(Stocktake {
            station,
            at,
            counted,
            not_counted,
        })
    }

    fn difference(
        &self,
        review: &[Finding],
        of: CountOf,
        counted: u32,
        record: Id,
        place: Place,
    ) -> Result<Counted, FarmError> {
        self.lock().store.read(|tx| {
            let missed = tx.missed_by(record)?;
            let mut touched = BTreeSet::new();
            for lot in missed.keys() {
                let steps = tx.steps(*lot)?.into_iter();
                let here = steps.filter(|s| s.from == place || s.to == place);
                touched.extend(here.map(|s| s.record));
            }
            // A hold or a broken rule says nothing about numbers; an earlier count has settled them.
            let about = |f: &&Finding| {
                !matches!(
                    f.what,
                    What::HeldEggs { .. }
                        | What::Breach { .. }
                        | What::SameName { .. }
                        | What::Stocktake { .. }
                ) && f.records.iter().any(|id| touched.contains(id))
            };
            let difference = -missed.values().sum::<i64>();
            Ok(Counted {
                of,
                expected: i64::from(counted) - difference,
                counted,
                difference,
                by_lot: missed.into_iter().map(|(lot, n)| (lot, -n)).collect(),
                record,
                explained_by: review.iter().filter(about).cloned().collect(),
                line: None,
            })
        })
    }
}

fn word(of: CountOf) -> String {
    match of {
        CountOf::Lot(lot) => lot.to_string(),
        CountOf::Species(species) => species.code().into(),
    }
}

fn draft(station: Station, of: CountOf, counted: u32, at: Option<Instant>) -> Draft {
    let field = match of {
        CountOf::Lot(_) => "lot",
        CountOf::Species(_) => "species",
    };
    let mut draft = Draft::new(Kind::Recount)
        .with("station", station.code())
        .with("counted", counted)
        .with(field, word(of));
    draft.at = at;
    draft
}
