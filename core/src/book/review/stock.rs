use super::super::Place;
use super::{Choice, Finding, Weight, What};
use crate::record::{Id, Instant, Kind, Lot, Record};
use crate::trade::Species;

/// A lot of which more eggs left a station than ever reached it.
#[derive(Debug, Clone)]
pub struct Overdrawn {
    /// Where.
    pub place: Place,
    /// Which lot.
    pub lot: Lot,
    /// The balance, below zero.
    pub balance: i64,
    /// The records that took eggs of the lot away from there: id, who, when; oldest first.
    pub took: Vec<(Id, Option<Id>, Instant)>,
    /// Records that once brought eggs of the lot there and were mended or voided since.
    pub lost: Vec<Lost>,
}

/// A record that brought eggs to a place and does not any more.
#[derive(Debug, Clone)]
pub struct Lost {
    /// The record.
    pub record: Id,
    /// Who logged it.
    pub by: Option<Id>,
    /// What was said about it since: id, who, and whether it is a void; oldest first.
    pub edits: Vec<(Id, Option<Id>, bool)>,
}

/// So many of the records that took eggs are offered to be voided: the newest.
const OFFERED: usize = 6;

/// A balance below zero, with the records that caused it.
pub fn overdraw(over: &Overdrawn) -> Finding {
    let since = over.took.last().map_or(Instant::EARLIEST, |(_, _, at)| *at);
    let voids = over.took.iter().rev().take(OFFERED);
    let voids = voids.map(|(id, _, _)| Choice::Void { record: *id });
    let edits = || over.lost.iter().flat_map(|lost| &lost.edits);
    let undo = edits().rev().take(OFFERED).map(|(id, _, void)| match void {
        true => Choice::Restore { void: *id },
        false => Choice::Void { record: *id },
    });
    Finding::new(
        format!("over/{}/{}", over.place.code(), over.lot),
        What::Overdraw {
            place: over.place,
            lot: over.lot,
            eggs: -over.balance,
        },
        Weight::Soon,
        since,
    )
    .state(over.balance.to_string())
    .about(
        over.took
            .iter()
            .map(|(id, _, _)| *id)
            .chain(over.lost.iter().map(|lost| lost.record))
            .chain(edits().map(|(id, _, _)| *id)),
        over.took
            .iter()
            .map(|(_, by, _)| *by)
            .chain(over.lost.iter().map(|lost| lost.by))
            .chain(edits().map(|(_, by, _)| *by)),
    )
    .choices(
        std::iter::once(Choice::Recount {
            place: over.place,
            lot: over.lot,
        })
        .chain(undo)
        .chain(voids)
        .chain([Choice::Seen]),
    )
}

/// Set-up records of one kind that carry one name (letter case aside): perhaps one person or coop
/// entered on two phones.
pub fn same_name(kind: Kind, name: &str, records: &[&Record]) -> Finding {
    let mut ids: Vec<Id> = records.iter().map(|r| r.id).collect();
    ids.sort();
    let state: Vec<String> = ids.iter().map(|id| id.short()).collect();
    Finding::new(
        format!(
            "name/{}/{}",
            kind.code(),
            name.chars().take(60).collect::<String>()
        ),
        What::SameName {
            name: name.to_string(),
        },
        Weight::Note,
        records
            .iter()
            .map(|r| r.at)
            .max()
            .unwrap_or(Instant::EARLIEST),
    )
    .state(state.join(" ").chars().take(120).collect::<String>())
    .about(ids.clone(), records.iter().map(|r| r.by))
    .choices(
        std::iter::once(Choice::BothRight)
            .chain(ids.into_iter().map(|record| Choice::Retire { record })),
    )
}

/// A round at a coop after its last day of use: perhaps the coop was retired on one phone while
/// another still gathered there. `retired_by` is what retired it, where that was said later: the
/// amendment and who wrote it.
pub fn retired_use(
    record: &Record,
    species: Species,
    retired_by: Option<(Id, Option<Id>)>,
) -> Finding {
    Finding::new(
        format!("retired/{}", record.id),
        What::RetiredUse { species },
        Weight::Note,
        record.at,
    )
    .state("-")
    .about(
        std::iter::once(record.id).chain(retired_by.map(|(id, _)| id)),
        std::iter::once(record.by).chain(retired_by.map(|(_, by)| by)),
    )
    .choices(
        retired_by
            .map(|(id, _)| Choice::Void { record: id })
            .into_iter()
            .chain([Choice::Void { record: record.id }, Choice::Seen]),
    )
}

/// A record that cannot be read here: of a newer version, or by a foreign program. It is kept, and
/// counted nowhere.
pub fn cannot_read(id: Id, at: Instant, why: &str) -> Finding {
    Finding::new(
        format!("unread/{id}"),
        What::CannotRead {
            why: why.to_string(),
        },
        Weight::Note,
        at,
    )
    .state("-")
    .about([id], [])
    .choices([Choice::Void { record: id }, Choice::Seen])
}
