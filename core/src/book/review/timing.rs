use super::{Choice, Finding, Weight, What};
use crate::record::{Id, Record};

/// A device whose clock was found off, and the records that it dated since its clock was last
/// known to be right.
#[derive(Debug, Clone)]
pub struct ClockOff<'a> {
    /// The record of the measurement.
    pub measured: &'a Record,
    /// Server clock minus the device's, seconds.
    pub offset_s: i64,
    /// The device.
    pub device: Id,
    /// The records dated by it, with who logged them.
    pub dated: Vec<(Id, Option<Id>)>,
}

/// From how many seconds on a clock counts as off.
pub const OFF_S: i64 = 120;

/// A clock that was off, with the shift that would mend what it dated.
pub fn clock(off: &ClockOff<'_>) -> Option<Finding> {
    if off.offset_s.abs() < OFF_S || off.dated.is_empty() {
        return None;
    }
    let records: Vec<Id> = off.dated.iter().map(|(id, _)| *id).collect();
    Some(
        Finding::new(
            format!("clock/{}", off.measured.id),
            What::ClockOff {
                shift_s: off.offset_s,
            },
            Weight::Note,
            off.measured.at,
        )
        .state(format!("{} {}", off.offset_s, records.len()))
        .about(
            std::iter::once(off.measured.id).chain(records.iter().copied()),
            off.dated.iter().map(|(_, by)| *by),
        )
        .choices([
            Choice::Shift {
                records,
                by_s: off.offset_s,
            },
            Choice::Seen,
        ]),
    )
}
