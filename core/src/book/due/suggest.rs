use serde::Serialize;

use super::super::Place;
use super::super::trace::Share;
use super::Here;
use crate::record::{Id, Instant, Lot};
use crate::trade::{LOCAL_CODES_DECIDE, Reason, Species};

/// What to take next: never taken by itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suggestion {
    /// The station to take from.
    pub place: Place,
    /// Whose eggs.
    pub species: Species,
    /// What to take, in this order.
    pub take: Vec<Take>,
    /// Eggs in it.
    pub eggs: i64,
    /// Eggs asked for that are not there, or not to be touched.
    pub short: i64,
    /// What stands there and is not to be touched.
    pub not_to_touch: Vec<NotToTouch>,
    /// Why in this order.
    pub why: Vec<Reason>,
    /// What a careful person would add.
    pub caution: String,
}

/// Eggs to take.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Take {
    /// The lot, unless cartons of several are meant.
    pub lot: Option<Lot>,
    /// The carton run.
    pub run: Option<Id>,
    /// The code on the cartons, logged or not.
    pub code: Option<String>,
    /// How many eggs of it.
    pub eggs: i64,
    /// The earliest moment at which one of them can have been laid.
    pub laid: Instant,
}

/// Held eggs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NotToTouch {
    /// The lot, unless cartons of several are meant.
    pub lot: Option<Lot>,
    /// The carton run.
    pub run: Option<Id>,
    /// How many eggs.
    pub eggs: i64,
    /// Whether all of them are held, or some may be.
    pub held: Share,
    /// The holds.
    pub holds: Vec<Id>,
}

/// The oldest eggs of a station first, so many of them (all where no number is given), held ones
/// left out and named. `here` is what stands there now.
pub fn suggest(here: &[Here], place: Place, species: Species, eggs: Option<u32>) -> Suggestion {
    let mut stands: Vec<&Here> = here
        .iter()
        .filter(|h| h.place == place && h.species == species)
        .collect();
    stands.sort_by_key(|h| (h.laid, h.lot, h.run));
    let mut left = eggs.map(i64::from);
    let mut take = Vec::new();
    let mut not_to_touch = Vec::new();
    for stand in stands {
        if let Some(held) = stand.held {
            not_to_touch.push(NotToTouch {
                lot: stand.lot,
                run: stand.run,
                eggs: stand.eggs,
                held,
                holds: stand.holds.clone(),
            });
            continue;
        }
        let n = left.map_or(stand.eggs, |left| left.min(stand.eggs));
        if n > 0 {
            left = left.map(|left| left - n);
            take.push(Take {
                lot: stand.lot,
                run: stand.run,
                code: stand.code.clone(),
                eggs: n,
                laid: stand.laid,
            });
        }
    }
    let mut why = vec![Reason::common_practice(
        "The oldest eggs first, counted from the earliest moment at which one can have been laid.",
    )];
    if !not_to_touch.is_empty() {
        why.push(Reason::common_practice(
            "Held eggs are left out, and so are eggs pooled with them: nobody can tell which.",
        ));
    }
    Suggestion {
        place,
        species,
        eggs: take.iter().map(|t: &Take| t.eggs).sum(),
        take,
        short: left.unwrap_or(0),
        not_to_touch,
        why,
        caution: LOCAL_CODES_DECIDE.into(),
    }
}
