use std::collections::BTreeMap;

use super::super::Place;
use super::{Choice, Finding, Weight, What};
use crate::record::{Id, Lot, Record, Recount};

/// A recount that comes out otherwise than when it was logged, because records from before it
/// arrived or were mended later.
#[derive(Debug, Clone)]
pub struct Overtaken<'a> {
    /// Its record.
    pub record: &'a Record,
    /// What it says.
    pub recount: &'a Recount,
    /// What the book expects at its moment now.
    pub now: i64,
    /// Records from before it that its writer had not seen, with who logged them.
    pub late: Vec<(Id, Option<Id>)>,
}

/// What to ask about a recount that was overtaken. Whoever counted may have counted the late eggs
/// too, or not: only they can say. Nothing where the count agrees with the book as it is now.
pub fn overtaken(count: &Overtaken<'_>) -> Option<Finding> {
    let (counted, now) = (count.recount.counted, count.now);
    let then = count.recount.expected?;
    if then == now || i64::from(counted) == now {
        return None;
    }
    let record = count.record;
    Some(
        Finding::new(
            format!("count/{}", record.id),
            What::CountOvertaken { counted, then, now },
            Weight::Soon,
            record.at,
        )
        .state(format!("{counted} {then} {now}"))
        .about(
            std::iter::once(record.id).chain(count.late.iter().map(|(id, _)| *id)),
            std::iter::once(record.by).chain(count.late.iter().map(|(_, by)| *by)),
        )
        .choices(choices(record.id, count.recount)),
    )
}

/// A recount that found another number than the book says.
#[derive(Debug, Clone)]
pub struct Stocktaken<'a> {
    /// Its record.
    pub record: &'a Record,
    /// What it says.
    pub recount: &'a Recount,
    /// Eggs found less eggs in the book, by the lots that the difference was laid to.
    pub by_lot: BTreeMap<Lot, i64>,
    /// What moved the counted eggs to or from the station since they were counted there before,
    /// with who logged it.
    pub moved: Vec<(Id, Option<Id>)>,
}

/// The name of the line about a recount that differs, and how it stands.
pub fn stocktake_line(record: &Record, counted: u32, booked: i64) -> (String, String) {
    (
        format!("stock/{}", record.id),
        format!("{counted} {booked}"),
    )
}

/// A stocktake that differs from the book. The count holds; what is asked is where the eggs went or
/// came from, and whether they were counted right.
pub fn stocktake(count: &Stocktaken<'_>) -> Option<Finding> {
    let (record, recount) = (count.record, count.recount);
    let species = recount.of_species()?;
    let counted = recount.counted;
    let booked = i64::from(counted) - count.by_lot.values().sum::<i64>();
    if booked == i64::from(counted) {
        return None;
    }
    let (line, state) = stocktake_line(record, counted, booked);
    let what = What::Stocktake {
        by: record.by,
        place: Place::from(recount.station),
        species,
        lot: recount.lot,
        counted,
        booked,
        by_lot: count.by_lot.clone(),
    };
    Some(
        Finding::new(line, what, Weight::Note, record.at)
            .state(state)
            .about(
                std::iter::once(record.id).chain(count.moved.iter().map(|(id, _)| *id)),
                std::iter::once(record.by).chain(count.moved.iter().map(|(_, by)| *by)),
            )
            .choices(choices(record.id, recount)),
    )
}

/// What can be done about a count: count once more, void it, or let it be.
fn choices(record: Id, recount: &Recount) -> impl Iterator<Item = Choice> {
    let place = Place::from(recount.station);
    let again = match recount.lot {
        Some(lot) => Some(Choice::Recount { place, lot }),
        None => recount
            .species
            .map(|species| Choice::RecountAll { place, species }),
    };
    again
        .into_iter()
        .chain([Choice::Void { record }, Choice::Seen])
}
