//! What a record book does not hold, said plainly.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::BookInput;
use super::shown::{Shown, runs};
use crate::record::{Body, Kind, Record, Wash};
use crate::trade::Means;

pub(super) fn missing(
    input: &BookInput,
    shown: &Shown<'_>,
    standing: &[(Record, i64)],
) -> Vec<String> {
    let mut said = Vec::new();
    let today = input.zone.day(input.now);
    let to = input.to.min(today);
    match input.begins {
        Some(begins) if begins > input.from => {
            said.push(format!("Nothing was recorded here before {begins}."));
        }
        None => said.push("Nothing was recorded here at all.".into()),
        Some(_) => {}
    }
    if input.producer.is_none() {
        said.push("No producer block is set, so name and place of the farm are not shown.".into());
    }
    if input.to > today {
        said.push(format!("The days after {today} have not come yet."));
    }
    let day = |record: &Record| input.zone.day(record.at);
    let days_of = |found: &dyn Fn(&Record) -> bool| -> BTreeSet<NaiveDate> {
        let all = standing.iter().map(|(record, _)| record);
        all.filter(|r| found(r)).map(day).collect()
    };
    let without = |first: NaiveDate, last: Option<NaiveDate>, known: &BTreeSet<NaiveDate>| {
        let (first, last) = (first.max(input.from), last.map_or(to, |last| last.min(to)));
        let days = first.iter_days().take_while(|day| *day <= last);
        days.filter(|day| !known.contains(day)).collect::<Vec<_>>()
    };
    for flock in &input.flocks {
        let known = days_of(
            &|r| matches!(&r.body, Body::Gather(g) if (g.coop, g.species) == (flock.coop, flock.species)),
        );
        let gaps = without(flock.first, flock.last, &known);
        if !gaps.is_empty() {
            said.push(format!(
                "{}, {}: no gather on {} ({}); these days are unknown, not zero.",
                shown.name(flock.coop),
                flock.species.code(),
                days(gaps.len()),
                runs(&gaps)
            ));
        }
    }
    for cooler in &input.coolers {
        let known = days_of(&|r| matches!(&r.body, Body::Reading(x) if x.cooler == cooler.id));
        let gaps = without(cooler.first, cooler.last, &known);
        if !gaps.is_empty() {
            said.push(format!(
                "Cooler {}: no temperature read on {} ({}).",
                shown.name(cooler.id),
                days(gaps.len()),
                runs(&gaps)
            ));
        }
    }
    for (what, lacks) in WASH {
        let found = days_of(&|r| matches!(&r.body, Body::Wash(wash) if wet(wash) && lacks(wash)));
        if !found.is_empty() {
            let found: Vec<NaiveDate> = found.into_iter().collect();
            said.push(format!(
                "Wet cleaning without {what} on {} ({}).",
                days(found.len()),
                runs(&found)
            ));
        }
    }
    for (what, lacks) in OTHER {
        let found = standing
            .iter()
            .filter(|(record, _)| lacks(&record.body))
            .count();
        if found > 0 {
            said.push(format!("{found} {what}."));
        }
    }
    let mut nobody: BTreeMap<Kind, usize> = BTreeMap::new();
    for (record, _) in standing.iter().filter(|(record, _)| record.by.is_none()) {
        *nobody.entry(record.body.kind()).or_default() += 1;
    }
    if !nobody.is_empty() {
        let all: Vec<String> = nobody
            .iter()
            .map(|(k, n)| format!("{n} {}", k.code()))
            .collect();
        said.push(format!(
            "Records that do not say who did it: {}. As a rule they were taken over from a log on \
             paper, and noon stands where it said no time.",
            all.join(", ")
        ));
    }
    let late = standing
        .iter()
        .filter(|(record, made)| made - record.at.ms() / 1000 > 86_400);
    let late = late.count();
    if late > 0 {
        said.push(format!(
            "{late} records were entered more than a day after the event."
        ));
    }
    said
}

fn days(n: usize) -> String {
    match n {
        1 => "1 day".into(),
        n => format!("{n} days"),
    }
}

fn wet(wash: &Wash) -> bool {
    Means::from_code(&wash.means).is_none_or(Means::is_wet)
}

type Lacks<T> = fn(&T) -> bool;

const WASH: [(&str, Lacks<Wash>); 4] = [
    ("a water temperature at the start", |w| {
        w.water_start_c.is_none()
    }),
    ("a water temperature at the end", |w| {
        w.water_end_c.is_none()
    }),
    ("an egg temperature", |w| w.egg_c.is_none()),
    ("a sanitiser strength", |w| w.sanitiser_ppm.is_none()),
];

const OTHER: [(&str, Lacks<Body>); 3] = [
    (
        "carton runs carry no code",
        |b| matches!(b, Body::Carton(c) if c.code.is_none()),
    ),
    (
        "carton runs carry no best-by day",
        |b| matches!(b, Body::Carton(c) if c.best_by.is_none()),
    ),
    (
        "sales do not say to whom",
        |b| matches!(b, Body::Out(o) if o.way == "sold" && o.to.is_none() && o.outlet.is_none()),
    ),
];
