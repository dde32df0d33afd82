//! The day sheet worked out once more, the long way: from the lists alone, day by day, with
//! another time-zone library, on maps of text. It shares no code with the book.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use pointdown_core::farm::{Farm, Filter, Row};
use serde_json::{Value, json};

type Tally = BTreeMap<String, i64>;

fn text<'a>(row: &'a Row, name: &str) -> &'a str {
    row.fields.get(name).and_then(Value::as_str).unwrap_or("")
}

fn number(row: &Row, name: &str) -> i64 {
    row.fields.get(name).and_then(Value::as_i64).unwrap_or(0)
}

fn parts(row: &Row) -> Vec<(String, i64)> {
    let parts = row.fields["parts"].as_object().expect("parts");
    parts
        .iter()
        .map(|(lot, n)| (lot.clone(), n.as_i64().expect("eggs")))
        .collect()
}

fn species(lot: &str) -> &str {
    lot.split('/').nth(1).expect("a species")
}

fn add(tally: &mut Tally, key: impl Into<String>, n: i64) {
    *tally.entry(key.into()).or_default() += n;
}

/// Holds the sheets of every day that has a record, and of the whole span, against the long way.
pub fn same(farm: &Farm) {
    let zone = TimeZone::get(&farm.zone().expect("a zone").to_string()).expect("the same zone");
    let mut rows = farm.list(&Filter::default()).expect("a list");
    rows.retain(|row| !row.doc.is_farm());
    rows.sort_by_key(|row| (row.at, row.id));
    let day = |row: &Row| {
        let at = jiff::Timestamp::from_millisecond(row.at.ms()).expect("a moment");
        at.to_zoned_datetime(zone.clone()).date().to_string()
    };
    let mut days: Vec<String> = rows.iter().map(&day).collect();
    days.sort();
    days.dedup();
    let (Some(first), Some(last)) = (days.first().cloned(), days.last().cloned()) else {
        return;
    };
    for row in &rows {
        assert_eq!(row.day, day(row), "two libraries, one farm day");
    }
    let mut spans: Vec<(String, String)> = days.iter().map(|d| (d.clone(), d.clone())).collect();
    spans.push((first, last));
    for (from, to) in spans {
        let sheet = farm
            .sheet(from.parse().expect("a day"), to.parse().expect("a day"))
            .expect("a sheet");
        let sheet = serde_json::to_value(&sheet).expect("JSON");
        let naive = by_hand(&rows, &day, &from, &to);
        for (name, expected) in naive {
            let mut got = sheet.clone();
            for step in name.split('.') {
                got = got[step].clone();
            }
            if name == "cartoned" {
                let rows = got.as_array().expect("rows");
                got = rows
                    .iter()
                    .filter_map(|r| r["eggs"].as_i64())
                    .sum::<i64>()
                    .into();
            }
            assert_eq!(bare(got), bare(expected), "{name} from {from} to {to}");
        }
    }
}

/// Without zeros, which say nothing.
fn bare(value: Value) -> Value {
    match value {
        Value::Object(map) => map.into_iter().filter(|(_, v)| *v != json!(0)).collect(),
        other => other,
    }
}

fn by_hand(
    rows: &[Row],
    day: &dyn Fn(&Row) -> String,
    from: &str,
    to: &str,
) -> Vec<(&'static str, Value)> {
    let (mut by_species, mut reason, mut used) = (Tally::new(), Tally::new(), Tally::new());
    let (mut washed, mut out, mut missed) = (Tally::new(), Tally::new(), Tally::new());
    let (mut gathered, mut floor, mut cartoned) = (0, 0, 0);
    // station -> lot -> eggs
    let mut shelf: BTreeMap<&str, Tally> = BTreeMap::new();
    for row in rows {
        let today = day(row);
        if today.as_str() > to {
            continue;
        }
        let counts = today.as_str() >= from;
        match row.kind.as_str() {
            "gather" => {
                let mut lot = format!("{today}/{}", text(row, "species"));
                if row.fields.get("apart") == Some(&json!(true)) {
                    lot = format!("{lot}/{}", text(row, "coop"));
                }
                add(
                    shelf.entry("basket").or_default(),
                    lot,
                    number(row, "count"),
                );
                if counts {
                    gathered += number(row, "count");
                    floor += number(row, "floor_laid");
                    add(&mut by_species, text(row, "species"), number(row, "count"));
                }
            }
            "recount" => {
                let here = shelf
                    .entry(match text(row, "station") {
                        "basket" => "basket",
                        "clean" => "clean",
                        _ => "cartoned",
                    })
                    .or_default();
                let found = number(row, "counted");
                let lot = text(row, "lot");
                let whose = if lot.is_empty() {
                    text(row, "species")
                } else {
                    species(lot)
                };
                let thought: i64 = here
                    .iter()
                    .filter(|(l, _)| {
                        if lot.is_empty() {
                            species(l) == whose
                        } else {
                            *l == lot
                        }
                    })
                    .map(|(_, n)| n)
                    .sum();
                let mut short = thought - found;
                if counts {
                    add(&mut missed, whose, short);
                }
                // Text of lots of one species sorts by their day: the oldest first.
                let mine: Vec<String> = here
                    .keys()
                    .filter(|l| species(l) == whose && (lot.is_empty() || *l == lot))
                    .cloned()
                    .collect();
                if !lot.is_empty() {
                    add(here, lot, -short);
                } else if short < 0 {
                    let newest = mine.iter().rev().find(|l| here[*l] > 0).cloned();
                    add(here, newest.unwrap_or(format!("{today}/{whose}")), -short);
                } else {
                    for l in mine {
                        let n = here[&l].clamp(0, short);
                        add(here, l, -n);
                        short -= n;
                    }
                }
            }
            kind @ ("wash" | "cull" | "carton" | "out") => {
                for (lot, n) in parts(row) {
                    let stood = match (kind, text(row, "station"), text(row, "from")) {
                        ("wash", ..) | (_, "basket", _) | (_, _, "basket") => "basket",
                        (_, "clean", _) | (_, _, "clean") => "clean",
                        _ => "cartoned",
                    };
                    let back = text(row, "way") == "returned";
                    add(
                        shelf.entry(stood).or_default(),
                        &lot,
                        if back { n } else { -n },
                    );
                    match kind {
                        "wash" => add(shelf.entry("clean").or_default(), &lot, n),
                        "carton" => add(shelf.entry("cartoned").or_default(), &lot, n),
                        _ => {}
                    }
                    if counts {
                        match kind {
                            "wash" => add(&mut washed, text(row, "means"), n),
                            "cull" => {
                                add(&mut reason, text(row, "reason"), n);
                                add(&mut used, text(row, "use"), n);
                            }
                            "out" => add(&mut out, text(row, "way"), n),
                            _ => cartoned += n,
                        }
                    }
                }
            }
            _ => {}
        }
    }
    let mut on_hand = Vec::new();
    for station in ["basket", "clean", "cartoned"] {
        let lots = shelf.remove(station).unwrap_or_default();
        for whose in ["hen", "duck"] {
            let lots: Tally = lots
                .iter()
                .filter(|(l, n)| species(l) == whose && **n != 0)
                .map(|(l, n)| (l.clone(), *n))
                .collect();
            if !lots.is_empty() {
                let eggs: i64 = lots.values().sum();
                on_hand.push(json!(
                    {"station": station, "species": whose, "eggs": eggs, "lots": lots}
                ));
            }
        }
    }
    vec![
        ("gathered.eggs", gathered.into()),
        ("gathered.floor_laid", floor.into()),
        ("gathered.by_species", json!(by_species)),
        ("pulled.by_reason", json!(reason)),
        ("pulled.by_use", json!(used)),
        ("washed", json!(washed)),
        ("cartoned", json!(cartoned)),
        ("out.eggs", json!(out)),
        ("unaccounted", json!(missed)),
        ("on_hand", json!(on_hand)),
    ]
}
