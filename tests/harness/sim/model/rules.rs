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
    let us = text(farm, "rule_pack") == "us_federal";
    let house = farm.get("house").and_then(Value::as_object);
    let house = house.unwrap_or(&nothing);
    for run in w.stands.live("carton") {
        packed(w, run, house, us, all);
    }
    if us {
        w.stands.live("wash").for_each(|wash| washed(wash, all));
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
            // Whoever packed the cartons is asked too.
            if let Some(run) = run {
                line.people.extend(run.by());
                line.records.insert(run.fact.id);
            }
            all.push(line);
        }
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
    us: bool,
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

/// Only a spray is ever measured here.
fn washed(wash: &Standing<'_>, all: &mut Vec<Line>) {
    let f = &wash.fields;
    if text(f, "means") != "spray" {
        return;
    }
    if f.get("sink_cleaned") == Some(&Value::Bool(false)) {
        let why =
            "Clean and sanitise the sink before eggs go into it. (common practice, no source)";
        all.push(line(wash, "sink_not_cleaned", 2, why));
    }
    let degrees = |name: &str| f.get(name).and_then(Value::as_f64);
    let (Some(egg), Some(water)) = (degrees("egg_c"), degrees("water_start_c")) else {
        return;
    };
    // 7 CFR 56.76(f) and the thermal checks of shells: 90 °F at the least, 20 to 40 Fahrenheit degrees above the egg.
    let low = f64::max(290.0 / 9.0, egg + 100.0 / 9.0);
    let high = egg + 200.0 / 9.0;
    let rule = match water {
        water if water < low => "washed_too_cold",
        water if water > high => "washed_too_hot",
        _ => return,
    };
    let both = |celsius: f64| format!("{:.1} °F ({celsius:.1} °C)", celsius * 1.8 + 32.0);
    let why = format!(
        "The water was {} for eggs at {}; right is {} to {}",
        both(water),
        both(egg),
        both(low),
        both(high)
    );
    all.push(line(wash, rule, 1, &why));
}
