use std::collections::BTreeSet;

use jiff::ToSpan;
use jiff::civil::{Date, Time};
use pointdown_core::record::Id;
use serde_json::{Map, Value, json};

use super::super::eggs::day;
use super::{Line, Standing, Writer, number, parts, people, text};

const HOUR: i64 = 3_600_000;

fn date(day: &str) -> Option<Date> {
    day.parse().ok()
}

fn after(day: &str, days: i64) -> String {
    let day = date(day).and_then(|day| day.checked_add(days.days()).ok());
    day.map_or(String::new(), |day| day.to_string())
}

fn between(first: &str, last: &str) -> i64 {
    match (date(first), date(last)) {
        (Some(first), Some(last)) => (last - first).get_days().into(),
        _ => 0,
    }
}

/// Records that break a rule of the United States baseline, where the farm chose it, or of the
/// house. The figures are those of the texts that the lines name.
pub(super) fn broken(w: &Writer<'_>, farm: Id, all: &mut Vec<Line>) {
    let nothing = Map::new();
    let farm = w.stands.0.get(&farm).filter(|s| s.counts());
    let farm = farm.map_or(&nothing, |s| &s.fields);
    let own =
        text(farm, "rule_pack") == "custom" && farm.get("rules").is_some_and(Value::is_object);
    let us = own || text(farm, "rule_pack") == "us_federal";
    let house = farm.get("house").and_then(Value::as_object);
    let house = house.unwrap_or(&nothing);
    for run in w.stands.live("carton") {
        packed(w, run, house, (us, own), all);
    }
    if us {
        let dry = house.get("keep_bloom") == Some(&Value::Bool(true));
        w.stands
            .live("wash")
            .for_each(|wash| washed(wash, dry, all));
        w.stands
            .live("reading")
            .for_each(|reading| cooled(reading, own, all));
    }
    for out in w.stands.live("out") {
        let run = text(&out.fields, "carton").parse::<Id>().ok();
        let run = run.and_then(|run| w.stands.0.get(&run));
        let run = run.filter(|run| run.kind() == "carton" && run.counts());
        let best_by = run.map_or("", |run| text(&run.fields, "best_by"));
        let (way, on) = (text(&out.fields, "way"), day(out.at, &w.zone));
        if !best_by.is_empty() && matches!(way, "sold" | "given") && on.as_str() > best_by {
            let why = format!("{way} on {on}; the cartons say best by {best_by}");
            let mut line = line(out, "past_best_by", 1, &why);
            asked_too(&mut line, run);
            all.push(line);
        }
        if let Some(run) = run.filter(|_| us && way == "sold") {
            too_late(out, run, &on, own, all);
        }
    }
}

/// Whoever packed the cartons is asked too.
fn asked_too(line: &mut Line, run: Option<&Standing<'_>>) {
    if let Some(run) = run {
        line.people.extend(run.by());
        line.records.insert(run.fact.id);
    }
}

/// Sold after the thirtieth day, the day of packing being the first: the agency's page on
/// shielded cartons says "no more than 30 days". The farm's own rules here also ask for 28 days
/// after the oldest egg was laid.
fn too_late(out: &Standing<'_>, run: &Standing<'_>, on: &str, own: bool, all: &mut Vec<Line>) {
    let packed = text(&run.fields, "packed");
    let lots = parts(&run.fields);
    let Some(oldest) = lots.iter().map(|(lot, _)| &lot[..10]).min() else {
        return;
    };
    let (sell, deliver) = (after(packed, 29), after(oldest, 28));
    let limits = [
        (
            true,
            "past_sell_by",
            &sell,
            format!(
                "sold on {on}; Sold within 30 days, the day of packing counting as the first: \
                 {sell} (agency carton-labelling page for shielded cartons: no more than 30 days)"
            ),
        ),
        (
            own,
            "delivered_too_late",
            &deliver,
            format!(
                "sold on {on}; Delivered to the consumer within 28 days after laying of the \
                 oldest egg: {deliver} (our own)"
            ),
        ),
    ];
    for (asked, rule, last, why) in limits {
        if asked && packed >= oldest && on > last.as_str() {
            let mut line = line(out, rule, 1, &why);
            asked_too(&mut line, Some(run));
            all.push(line);
        }
    }
}

fn both(celsius: f64) -> String {
    format!("{:.1} °F ({celsius:.1} °C)", celsius * 1.8 + 32.0)
}

/// The air of a cooler: 45 °F at the most (21 CFR 118.4(e)), and by the farm's own rules here no
/// colder than 1 °C.
fn cooled(reading: &Standing<'_>, own: bool, all: &mut Vec<Line>) {
    let Some(air) = reading.fields.get("air_c").and_then(Value::as_f64) else {
        return;
    };
    let most = (45.0 - 32.0) / 1.8;
    if air > most {
        let why = format!(
            "The cooler was at {}; {} or colder (21 CFR 118.4(e) and 115.50 (2015 edition read))",
            both(air),
            both(most)
        );
        all.push(line(reading, "cooler_too_warm", 1, &why));
    }
    if own && air < 1.0 {
        let why = format!(
            "The cooler was at {}; {} or warmer (our own)",
            both(air),
            both(1.0)
        );
        all.push(line(reading, "cooler_too_cold", 2, &why));
    }
}

fn line(of: &Standing<'_>, rule: &str, weight: u8, why: &str) -> Line {
    Line {
        line: format!("rule/{rule}/{}", of.fact.id),
        state: why.chars().take(100).collect(),
        weight,
        since: of.at,
        people: people([of.by()]),
        records: BTreeSet::from([of.fact.id]),
        what: json!({"kind": "breach", "rule": rule}),
    }
}

fn packed(
    w: &Writer<'_>,
    run: &Standing<'_>,
    house: &Map<String, Value>,
    (us, own): (bool, bool),
    all: &mut Vec<Line>,
) {
    let lots = parts(&run.fields);
    let days: BTreeSet<&str> = lots.iter().map(|(lot, _)| &lot[..10]).collect();
    let (Some(oldest), Some(newest)) = (days.first(), days.last()) else {
        return;
    };
    let packed = text(&run.fields, "packed");
    let most = house.get("ages_apart_max_days").and_then(Value::as_i64);
    if most.is_some_and(|most| between(oldest, newest) > most) && *newest <= packed {
        let why = format!(
            "The oldest egg counts: {} days; the youngest is {} days. A carton's dates follow its \
             oldest egg. (common practice, no source)",
            between(oldest, packed),
            between(newest, packed)
        );
        all.push(line(run, "mixed_ages", 2, &why));
    }
    if !us {
        return;
    }
    let best_by = text(&run.fields, "best_by");
    let mut limit = after(packed, 44);
    let why = format!(
        "Best by within 45 days, the day of packing counting as the first: {limit} (agency \
         carton-labelling text"
    );
    if own {
        limit = limit.min(after(oldest, 28));
    }
    if house.contains_key("best_by_days") {
        limit = limit.min(after(packed, number(house, "best_by_days") - 1));
    }
    if !best_by.is_empty() && packed >= *oldest && best_by > limit.as_str() {
        all.push(line(run, "best_by_too_late", 1, &why));
    }
    let limit = after(oldest, 21);
    if packed > limit.as_str() {
        let why = format!(
            "Packed within 21 days after laying of the oldest egg: {limit} (7 CFR 56.1, eggs of \
             current production (2015 edition read))"
        );
        all.push(line(run, "packed_too_late", 1, &why));
    }
    let ended = date(&after(oldest, 1));
    let ended = ended.and_then(|day| w.zone.to_timestamp(day.to_datetime(Time::midnight())).ok());
    if ended.is_some_and(|ended| run.at - ended.as_millisecond() > 36 * HOUR) {
        let why = "unless the eggs were in a cooler before: At most 36 hours until into the cooler, \
                   as elapsed time (21 CFR 118.4(e)";
        all.push(line(run, "chilled_late", 2, why));
    }
}

/// What was logged of a wash; `dry` where the house keeps the bloom.
fn washed(wash: &Standing<'_>, dry: bool, all: &mut Vec<Line>) {
    let f = &wash.fields;
    let means = text(f, "means");
    if means == "dry" {
        return;
    }
    if dry {
        let why = "The farm keeps the bloom: eggs are cleaned dry only. (house policy)";
        all.push(line(wash, "cleaning_not_allowed", 1, why));
    }
    if f.get("sink_cleaned") == Some(&Value::Bool(false)) {
        let why =
            "Clean and sanitise the sink before eggs go into it. (common practice, no source)";
        all.push(line(wash, "sink_not_cleaned", 2, why));
    }
    let measured = |name: &str| f.get(name).and_then(Value::as_f64);
    const TEXT: &str = "7 CFR 56.76(f), 69 FR 76376, 21 Dec 2004 (2015 edition read)";
    if let Some(ppm) = measured("sanitiser_ppm") {
        let why = format!("Sanitiser {ppm} ppm; 100 to 200 ppm of available chlorine ({TEXT})");
        match ppm {
            ppm if ppm < 100.0 => all.push(line(wash, "sanitiser_weak", 2, &why)),
            ppm if ppm > 200.0 => all.push(line(wash, "sanitiser_strong", 1, &why)),
            _ => {}
        }
    }
    // A spray runs off.
    if let Some(minutes) = measured("minutes").filter(|n| *n > 0.0 && means != "spray") {
        let why = format!("Eggs stood in water for {minutes} minutes; they may not soak ({TEXT})");
        all.push(line(wash, "soaked", 2, &why));
    }
    let Some(water) = measured("water_start_c") else {
        return;
    };
    if let Some(rinse) = measured("rinse_c").filter(|rinse| *rinse < water) {
        let why = format!(
            "The rinse was {} and the wash {}; it has to be warmer by 0.0 °F (0.0 °C) or more",
            both(rinse),
            both(water)
        );
        all.push(line(wash, "rinsed_too_cold", 1, &format!("{why} ({TEXT})")));
    }
    let Some(egg) = measured("egg_c") else {
        return;
    };
    // Below 50 °F there is no water of at least 90 °F that is not more than 40 Fahrenheit degrees
    // above the egg.
    if egg < 10.0 {
        let why = format!(
            "The eggs were at {}; they have to warm to {} first (common practice, no source)",
            both(egg),
            both(10.0)
        );
        all.push(line(wash, "washed_while_cold", 1, &why));
        return;
    }
    // 7 CFR 56.76(f) and the thermal checks of shells: 90 °F at the least, 20 to 40 Fahrenheit
    // degrees above the egg.
    let low = f64::max(290.0 / 9.0, egg + 100.0 / 9.0);
    let high = egg + 200.0 / 9.0;
    let rule = match water {
        water if water < low => "washed_too_cold",
        water if water > high => "washed_too_hot",
        _ => return,
    };
    let why = format!(
        "The water was {} for eggs at {}; right is {} to {}",
        both(water),
        both(egg),
        both(low),
        both(high)
    );
    all.push(line(wash, rule, 1, &why));
}
