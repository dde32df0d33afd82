use super::{Choice, Finding, Weight, What};
use crate::record::{Gather, Id, Record};

/// Two gathers of one coop and species, near in time, from two devices.
#[derive(Debug, Clone)]
pub struct Pair<'a> {
    /// The earlier one (by time, then id).
    pub one: (&'a Record, &'a Gather),
    /// The later one.
    pub other: (&'a Record, &'a Gather),
    /// The void that took each away, if one did, and who wrote it.
    pub voids: [Option<(Id, Option<Id>)>; 2],
    /// Whether each void's writer had seen the other void.
    pub voids_seen: bool,
}

/// How near two rounds are to be taken for one, milliseconds.
pub const NEAR_MS: i64 = 60 * 60 * 1000;

/// What to ask about a pair that was logged with neither writer having seen the other's record;
/// nothing where one of the two was voided since.
pub fn double(pair: &Pair<'_>) -> Option<Finding> {
    let ((one, a), (other, b)) = (pair.one, pair.other);
    let line = format!("twice/{}/{}", one.id, other.id);
    let people = [one.by, other.by];
    match pair.voids {
        [None, None] => Some(
            Finding::new(
                line,
                What::DoubleLog {
                    counts: (a.count, b.count),
                },
                Weight::Soon,
                one.at.max(other.at),
            )
            .state(format!("{} {}", a.count, b.count))
            .about([one.id, other.id], people)
            .choices([
                Choice::Void { record: other.id },
                Choice::Void { record: one.id },
                Choice::BothRight,
            ]),
        ),
        [Some((first, by_first)), Some((second, by_second))] if !pair.voids_seen => Some(
            Finding::new(line, What::BothVoided, Weight::Soon, one.at.max(other.at))
                .state(format!("{} {}", first.short(), second.short()))
                .about(
                    [one.id, other.id, first, second],
                    people.into_iter().chain([by_first, by_second]),
                )
                .choices([
                    Choice::Restore { void: first },
                    Choice::Restore { void: second },
                    Choice::Seen,
                ]),
        ),
        _ => None,
    }
}
