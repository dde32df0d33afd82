use chrono::{DateTime, Days, NaiveDate, Utc};

use super::{Choice, Finding, Weight, What};
use crate::record::{Body, Carton, Out, Reading, Record, Wash, Zone};
use crate::trade::clock::{Standing, chill_standing};
use crate::trade::dates::{LastDay, carton_ages, last_day};
use crate::trade::rules::{HousePolicy, RulePack};
use crate::trade::units::{Celsius, Minutes};
use crate::trade::{Cleaner, Means, Reason, WashDone, WashFault, check_wash};

/// What the farm's own record says about how everything else is to be read.
#[derive(Debug, Clone)]
pub struct Setting {
    /// The zone that farm days go by.
    pub zone: Zone,
    /// The rule pack in force; nothing where the farm chose none.
    pub pack: Option<RulePack>,
    /// The house policy on top.
    pub house: HousePolicy,
}

/// Where a record breaks a rule of the trade that the farm chose to be reminded of. `run` is the
/// carton run that an out takes from.
///
/// What was not measured or logged breaks nothing.
pub fn breaches(record: &Record, rules: &Setting, run: Option<&Record>) -> Vec<Finding> {
    let mut found: Vec<(String, Weight, String)> = Vec::new();
    match &record.body {
        Body::Wash(wash) => washed(wash, rules, &mut found),
        Body::Carton(carton) => packed(record, carton, rules, &mut found),
        Body::Reading(reading) => cooled(reading, rules, &mut found),
        Body::Out(out) => {
            if let Some(Body::Carton(carton)) = run.map(|run| &run.body) {
                gone(record, out, carton, rules, &mut found);
            }
        }
        _ => {}
    }
    let run = run.filter(|_| matches!(record.body, Body::Out(_)));
    found
        .into_iter()
        .map(|(rule, weight, why)| {
            Finding::new(
                format!("rule/{rule}/{}", record.id),
                What::Breach {
                    rule,
                    why: why.clone(),
                },
                weight,
                record.at,
            )
            .state(why.chars().take(100).collect::<String>())
            .about(
                std::iter::once(record.id).chain(run.map(|run| run.id)),
                std::iter::once(record.by).chain(run.map(|run| run.by)),
            )
            .choices([Choice::Seen, Choice::Void { record: record.id }])
        })
        .collect()
}

fn words(why: &[Reason]) -> String {
    why.iter()
        .map(|r| format!("{} ({})", r.rule, r.source))
        .collect::<Vec<_>>()
        .join("; ")
}

fn washed(wash: &Wash, rules: &Setting, found: &mut Vec<(String, Weight, String)>) {
    let (Some(pack), Some(species), Some(means)) = (
        &rules.pack,
        wash.parts.species(),
        Means::from_code(&wash.means),
    ) else {
        return;
    };
    let done = WashDone {
        species,
        means,
        cleaner: wash.cleaner.as_deref().and_then(Cleaner::from_code),
        egg: wash.egg_c.map(Celsius),
        water_start: wash.water_start_c.map(Celsius),
        water_end: wash.water_end_c.map(Celsius),
        rinse: wash.rinse_c.map(Celsius),
        sanitiser_ppm: wash.sanitiser_ppm.map(f64::from),
        in_water: wash.minutes.map(Minutes),
        water_age: None,
        baskets: None,
        sink_cleaned_first: wash.sink_cleaned,
    };
    // A measurement that cannot be was refused when it was logged; a foreign one says nothing.
    let Ok(faults) = check_wash(&done, pack, &rules.house) else {
        return;
    };
    for fault in faults {
        let (rule, weight) = match fault.value {
            // Advice for the next time rather than something that happened to these eggs.
            WashFault::NotMeasured | WashFault::Means => continue,
            WashFault::WaterTooCold => ("washed_too_cold", Weight::Soon),
            WashFault::WaterTooHot => ("washed_too_hot", Weight::Soon),
            WashFault::EggTooCold => ("washed_while_cold", Weight::Soon),
            WashFault::RinseTooCold => ("rinsed_too_cold", Weight::Soon),
            WashFault::Soaked => ("soaked", Weight::Note),
            WashFault::SanitiserTooWeak => ("sanitiser_weak", Weight::Note),
            WashFault::SanitiserTooStrong => ("sanitiser_strong", Weight::Soon),
            WashFault::NotAllowed => ("cleaning_not_allowed", Weight::Soon),
            WashFault::LosesClass => ("cleaned_loses_class", Weight::Note),
            WashFault::Cleaner => ("cleaner_not_for_eggs", Weight::Soon),
            WashFault::SinkNotCleaned => ("sink_not_cleaned", Weight::Note),
            WashFault::WaterTooOld | WashFault::TooManyBaskets => {
                ("water_not_changed", Weight::Note)
            }
        };
        found.push((rule.into(), weight, words(&fault.why)));
    }
}

fn packed(
    record: &Record,
    carton: &Carton,
    rules: &Setting,
    found: &mut Vec<(String, Weight, String)>,
) {
    let days: Vec<NaiveDate> = carton.parts.0.keys().map(|lot| lot.day).collect();
    let Some(oldest) = days.iter().min().copied() else {
        return;
    };
    if let Ok(ages) = carton_ages(&days, carton.packed, &rules.house)
        && !ages.value.1
    {
        found.push(("mixed_ages".into(), Weight::Note, words(&ages.why)));
    }
    let Some(pack) = &rules.pack else { return };
    let last = |which| last_day(which, carton.packed, oldest, pack, &rules.house);
    if let (Some(best_by), Ok(limit)) = (carton.best_by, last(LastDay::BestBy))
        && limit.value.is_some_and(|limit| best_by > limit)
    {
        found.push(("best_by_too_late".into(), Weight::Soon, words(&limit.why)));
    }
    if let Ok(limit) = last(LastDay::PackBy)
        && limit.value.is_some_and(|limit| carton.packed > limit)
    {
        found.push(("packed_too_late".into(), Weight::Soon, words(&limit.why)));
    }
    // Every egg of the oldest lot was laid before that day ended, whenever it was gathered; so
    // what is late counted from there is late for certain.
    let ended = rules
        .zone
        .day_begins(oldest.checked_add_days(Days::new(1)).unwrap_or(oldest));
    if let (Some(laid), Some(packed)) = (utc(ended.ms()), utc(record.at.ms()))
        && let Ok(standing) = chill_standing(carton.species, laid, packed, pack)
        && matches!(standing.value, Standing::Late { .. })
    {
        let why = format!(
            "unless the eggs were in a cooler before: {}",
            words(&standing.why)
        );
        found.push(("chilled_late".into(), Weight::Note, why));
    }
}

fn gone(
    record: &Record,
    out: &Out,
    carton: &Carton,
    rules: &Setting,
    found: &mut Vec<(String, Weight, String)>,
) {
    if !matches!(out.way.as_str(), "sold" | "given") {
        return;
    }
    let day = rules.zone.day(record.at);
    if let Some(best_by) = carton.best_by.filter(|best_by| day > *best_by) {
        let why = format!("{} on {day}; the cartons say best by {best_by}", out.way);
        found.push(("past_best_by".into(), Weight::Soon, why));
    }
    let oldest = carton.parts.0.keys().map(|lot| lot.day).min();
    let (Some(pack), Some(oldest), "sold") = (&rules.pack, oldest, out.way.as_str()) else {
        return;
    };
    for (rule, which) in [
        ("past_sell_by", LastDay::SellBy),
        ("delivered_too_late", LastDay::DeliverBy),
    ] {
        if let Ok(limit) = last_day(which, carton.packed, oldest, pack, &rules.house)
            && limit.value.is_some_and(|limit| day > limit)
        {
            let why = format!("sold on {day}; {}", words(&limit.why));
            found.push((rule.into(), Weight::Soon, why));
        }
    }
}

fn cooled(reading: &Reading, rules: &Setting, found: &mut Vec<(String, Weight, String)>) {
    let Some(chill) = rules.pack.as_ref().map(|pack| &pack.chill) else {
        return;
    };
    let air = Celsius(reading.air_c);
    if let Some(rule) = chill.cooler_max.as_ref().filter(|r| air.0 > r.value.0) {
        let why = rule.reason(format!("The cooler was at {air}; {} or colder", rule.value));
        found.push(("cooler_too_warm".into(), Weight::Soon, words(&[why])));
    }
    if let Some(rule) = chill.cooler_min.as_ref().filter(|r| air.0 < r.value.0) {
        let why = rule.reason(format!("The cooler was at {air}; {} or warmer", rule.value));
        found.push(("cooler_too_cold".into(), Weight::Note, words(&[why])));
    }
}

fn utc(ms: i64) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp_millis(ms)
}
