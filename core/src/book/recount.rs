use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{Move, Place};
use crate::record::{Id, Instant, Lot, Recount};
use crate::trade::Species;

/// The place of a record in the order that recounts go by: its time, then its id.
pub type Moment = (Instant, Id);

/// What a recount moves, given what was expected at its station just before (by lot; only lots
/// that it speaks of matter) and its farm day.
///
/// A recount of a whole species names no lots, so the lots are settled by a fixed rule: eggs that
/// are missing are missed from the oldest lot on; eggs found too many are laid to the newest lot
/// that was expected there, or to the day's own lot where none was.
pub fn settle(recount: &Recount, day: NaiveDate, expected: &BTreeMap<Lot, i64>) -> Vec<Move> {
    let station: Place = recount.station.into();
    let missed = |lot, eggs| Move {
        lot,
        from: station,
        to: Place::Unaccounted,
        eggs,
    };
    let surplus = |lot, eggs| Move {
        lot,
        from: Place::Unaccounted,
        to: station,
        eggs,
    };
    let counted = i64::from(recount.counted);

    if let Some(lot) = recount.lot {
        let short = expected.get(&lot).copied().unwrap_or(0) - counted;
        return match short {
            0 => Vec::new(),
            s if s > 0 => vec![missed(lot, eggs(s))],
            s => vec![surplus(lot, eggs(-s))],
        };
    }
    let Some(species) = recount.species else {
        return Vec::new();
    };
    let mut lots: Vec<(Lot, i64)> = expected
        .iter()
        .filter(|(lot, n)| lot.species == species && **n != 0)
        .map(|(lot, n)| (*lot, *n))
        .collect();
    lots.sort();
    let mut short = lots.iter().map(|(_, n)| n).sum::<i64>() - counted;
    if short < 0 {
        let newest = lots.iter().rev().find(|(_, n)| *n > 0).map(|(lot, _)| *lot);
        return vec![surplus(
            newest.unwrap_or_else(|| todays(day, species)),
            eggs(-short),
        )];
    }
    let mut moves = Vec::new();
    for (lot, here) in lots.into_iter().filter(|(_, n)| *n > 0) {
        let n = here.min(short);
        if n > 0 {
            moves.push(missed(lot, eggs(n)));
            short -= n;
        }
    }
    moves
}

fn todays(day: NaiveDate, species: Species) -> Lot {
    Lot {
        day,
        species,
        coop: None,
    }
}

fn eggs(n: i64) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
