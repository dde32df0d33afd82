use super::timing::OFF_S;
use super::{Choice, Finding, Misdating, Weight, What};
use crate::record::{Body, Kind, Record, Zone};

/// A record whose time cannot be: dated after it was written (by the writer's own clock, so that a
/// clock that is off is no reason), before its cartons were packed, or before the day on which its
/// eggs were gathered. `made_s` is when its change was written, seconds since 1970; 0 where a
/// foreign program did not say. `run` is the carton run that it takes from.
pub fn misdated(record: &Record, made_s: i64, zone: Zone, run: Option<&Record>) -> Option<Finding> {
    let kind = record.body.kind();
    let told = kind.is_edit() || kind.is_setup() || matches!(kind, Kind::Clock | Kind::Decision);
    if told {
        return None;
    }
    let day = zone.day(record.at);
    let mended = record.id.unix_ms() != Some(record.at.ms());
    let ahead_s = record.at.ms().div_euclid(1000) - made_s;
    let (how, cause) = if !mended && made_s > 0 && ahead_s > OFF_S {
        (Misdating::Future, None)
    } else if let Some(run) = run.filter(|run| record.at < run.at) {
        (Misdating::BeforePacking, Some(run))
    } else if early(record, day) {
        (Misdating::BeforeGathering, None)
    } else {
        return None;
    };
    let mut choices = Vec::new();
    if how == Misdating::Future {
        choices.push(Choice::Shift {
            records: vec![record.id],
            by_s: -ahead_s,
        });
    }
    choices.extend([Choice::Void { record: record.id }, Choice::Seen]);
    let mut state = record.at.ms().to_string();
    if let Some(cause) = cause {
        state.push_str(&format!(" {}", cause.at.ms()));
    }
    Some(
        Finding::new(
            format!("date/{}", record.id),
            What::Misdated {
                how,
                cause: cause.map(|cause| cause.id),
            },
            Weight::Note,
            record.at,
        )
        .state(state)
        .about(
            std::iter::once(record.id).chain(cause.map(|cause| cause.id)),
            std::iter::once(record.by).chain(cause.map(|cause| cause.by)),
        )
        .choices(choices),
    )
}

/// Whether a record handles eggs of a later day than its own.
fn early(record: &Record, day: chrono::NaiveDate) -> bool {
    match &record.body {
        Body::Weigh(weigh) => weigh.lot.day > day,
        body => body
            .parts()
            .is_some_and(|parts| parts.0.keys().any(|lot| lot.day > day)),
    }
}
