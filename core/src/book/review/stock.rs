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
}

/// A balance below zero, with the records that caused it.
pub fn overdraw(over: &Overdrawn) -> Finding {
    let since = over.took.last().map_or(Instant::EARLIEST, |(_, _, at)| *at);
    let voids = over
        .took
        .iter()
        .rev()
        .map(|(id, _, _)| Choice::Void { record: *id });
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
        over.took.iter().map(|(id, _, _)| *id),
        over.took.iter().map(|(_, by, _)| *by),
    )
    .choices(
        std::iter::once(Choice::Recount {
            place: over.place,
            lot: over.lot,
        })
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
    .about(ids, records.iter().map(|r| r.by))
    .choices([Choice::BothRight])
}

/// A round at a coop after its last day of use: perhaps the coop was retired on one phone while
/// another still gathered there.
pub fn retired_use(record: &Record, species: Species) -> Finding {
    Finding::new(
        format!("retired/{}", record.id),
        What::RetiredUse { species },
        Weight::Note,
        record.at,
    )
    .state("-")
    .about([record.id], [record.by])
    .choices([Choice::Void { record: record.id }, Choice::Seen])
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
