use super::eggs::{HOLD_CAUTION, ends};
use super::{Desk, Due, What};
use crate::record::{Body, Instant};
use crate::trade::{COLD_CAUTION, Means, Reason, WASH_CAUTION};

/// Readings of a cooler older than this say nothing of now.
pub const COOLER_DAYS: i64 = 7;

/// A brush is looked over at least so often.
const BRUSH_DAYS: i64 = 30;
const DAY_MS: i64 = 86_400_000;

/// The brush, and what it did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Brushes {
    /// When one was last replaced.
    pub replaced: Option<Instant>,
    /// The first brushed batch since, or of the last days where no replacement is known.
    pub used_since: Option<Instant>,
}

/// Holds that have not ended.
pub(super) fn holds(desk: &Desk, at: Instant, all: &mut Vec<Due>) {
    for record in &desk.facts.holds {
        let Body::Hold(hold) = &record.body else {
            continue;
        };
        let end = hold.until.map(|until| ends(desk, until));
        if end.is_some_and(|end| end <= at) {
            continue;
        }
        let given = hold
            .given
            .as_ref()
            .map(|g| format!(", {g}"))
            .unwrap_or_default();
        let why = match hold.until {
            Some(until) => format!(
                "Eggs laid after {until} are free of it ({}{given})",
                hold.cause
            ),
            None => format!(
                "No last day was given ({}{given}): it ends when someone says so",
                hold.cause
            ),
        };
        let why = vec![Reason::common_practice(why)];
        let mut due = Due::of(What::HoldEnds, end, why, HOLD_CAUTION);
        due.name = desk.facts.name(hold.coop);
        due.species = hold.species;
        all.push(due);
    }
}

/// The brush, where it was used since it was replaced.
pub(super) fn brush(desk: &Desk, all: &mut Vec<Due>) {
    let Some(used) = desk.brushes.used_since else {
        return;
    };
    let since = desk.brushes.replaced.unwrap_or(used);
    let mut why = vec![Reason::common_practice(format!(
        "Look the brush over at least every {BRUSH_DAYS} days and replace it; sooner when it needs it"
    ))];
    why.extend(Means::Brush.advice().why);
    let by = Some(since.plus_ms(BRUSH_DAYS * DAY_MS));
    all.push(Due::of(What::Brush, by, why, WASH_CAUTION));
}

/// Coolers whose latest reading is outside the limits.
pub(super) fn coolers(desk: &Desk, all: &mut Vec<Due>) {
    let Some(pack) = &desk.setting.pack else {
        return;
    };
    for record in &desk.readings {
        let Body::Reading(reading) = &record.body else {
            continue;
        };
        let (warm, cold) = (&pack.chill.cooler_max, &pack.chill.cooler_min);
        let reason = match (warm, cold) {
            (Some(most), _) if reading.air_c > most.value.0 => most.reason(format!(
                "{:.1} °C is warmer than {}",
                reading.air_c, most.value
            )),
            (_, Some(least)) if reading.air_c < least.value.0 => least.reason(format!(
                "{:.1} °C is colder than {}",
                reading.air_c, least.value
            )),
            _ => continue,
        };
        let mut due = Due::of(What::Cooler, Some(record.at), vec![reason], COLD_CAUTION);
        due.name = desk.facts.name(Some(reading.cooler));
        all.push(due);
    }
}
