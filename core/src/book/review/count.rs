use super::super::Place;
use super::{Choice, Finding, Weight, What};
use crate::record::{Id, Record, Recount};

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
    let place = Place::from(count.recount.station);
    let again = match count.recount.lot {
        Some(lot) => Some(Choice::Recount { place, lot }),
        None => count
            .recount
            .species
            .map(|species| Choice::RecountAll { place, species }),
    };
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
        .choices(
            again
                .into_iter()
                .chain([Choice::Void { record: record.id }, Choice::Seen]),
        ),
    )
}
