//! A household's own log: read by a map of its columns, named by row where it cannot be read, and the
//! same set of records whoever takes it and however often.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use pointdown_core::book::span::Span;
use pointdown_core::farm::{Farm, Filter};
use pointdown_core::files::{DateOrder, LogMap, LogPlan, Report, WeightUnit};
use pointdown_core::record::{Draft, Kind};
use pointdown_core::trade::Species;
use pointdown_tests::phone::{Phone, meet};

fn plan(map: &str) -> LogPlan {
    LogPlan::new(map.parse::<LogMap>().expect("a map"))
}

fn take(farm: &Farm, text: &str, plan: &LogPlan) -> Report {
    farm.import_log(text.as_bytes(), plan, false)
        .expect("a file that can be read")
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn span(farm: &Farm, from: &str, to: &str) -> Span {
    farm.span(day(from), day(to), None).expect("a span")
}

/// Day and coop with the eggs of each, as the span shows them.
fn counts(farm: &Farm, from: &str, to: &str) -> BTreeMap<(String, String), Option<i64>> {
    let span = span(farm, from, to);
    let days = span.by_day.iter();
    days.flat_map(|d| {
        let flocks = d.flocks.iter();
        flocks.map(|f| ((d.day.to_string(), f.name.clone()), f.eggs))
    })
    .collect()
}

fn why(report: &Report) -> Vec<(usize, &str)> {
    report
        .errors
        .iter()
        .map(|e| (e.row, e.why.as_str()))
        .collect()
}

fn phone() -> Phone {
    Phone::first("Ada", "2026-05-02T12:00:00Z", "Europe/Dublin")
}

const PLAIN: &str = "Date,Henhouse,Count\n2026-03-01,Orchard,12\n2026-03-01,Orchard,5\n\
                     2026-03-02,Orchard,0\n2026-03-04,Orchard,9\n";

#[test]
fn one_log_in_many_dresses_is_one_log() {
    let map = "date=Date,coop=Henhouse,eggs=Count";
    let due = {
        let phone = phone();
        let report = take(&phone.farm, PLAIN, &plan(map));
        assert_eq!((report.read, report.added, report.skipped), (4, 4, 0));
        counts(&phone.farm, "2026-03-01", "2026-03-05")
    };
    let known = |d: &str| due[&(format!("2026-03-0{d}"), "Orchard".to_string())];
    assert_eq!(
        [known("1"), known("2"), known("3"), known("4"), known("5")],
        [Some(17), Some(0), None, Some(9), None],
        "a missing day is unknown, a zero is zero"
    );
    let dresses: [(&str, String, DateOrder); 6] = [
        (map, PLAIN.replace('\n', "\r\n"), DateOrder::Evident),
        (
            map,
            format!("\u{feff}{}", PLAIN.replace(',', ";")),
            DateOrder::YearFirst,
        ),
        (map, PLAIN.replace(',', "\t"), DateOrder::DayFirst),
        (
            "eggs=#1,date=when,coop=Where",
            "Eggs;When;Note;Where\n12;1.3.2026;\"two\nlines; and a \"\"word\"\"\";Orchard\n\
             5;01.03.26;;orchard\n0;2/3/2026;;ORCHARD\n\n9;04-03-2026;;Orchard\n;5/3/2026;;Orchard\n"
                .into(),
            DateOrder::DayFirst,
        ),
        (
            map,
            "Date,Henhouse,Count\n03/01/2026,Orchard,12\n03/01/2026,Orchard,5\n\
             3/2/2026,Orchard,0.0\n3/4/2026,Orchard,9\n"
                .into(),
            DateOrder::MonthFirst,
        ),
        (
            // The thirteenth can be no month, so the file is day-first.
            map,
            "Date,Henhouse,Count\n01/03/2026,Orchard,12\n01/03/2026,Orchard,5\n\
             02/03/2026,Orchard,0\n04/03/2026,Orchard,9\n13/03/2026,Orchard,\n"
                .into(),
            DateOrder::Evident,
        ),
    ];
    for (map, text, dates) in dresses {
        let phone = phone();
        let plan = LogPlan { dates, ..plan(map) };
        let report = take(&phone.farm, &text, &plan);
        assert_eq!((report.added, why(&report)), (4, vec![]), "{text}");
        assert_eq!(
            counts(&phone.farm, "2026-03-01", "2026-03-05"),
            due,
            "{text}"
        );
        assert_eq!(
            phone.farm.check().expect("a check").wrong,
            Vec::<String>::new()
        );
    }
}

#[test]
fn a_second_run_and_a_second_phone_add_nothing() {
    let ada = phone();
    let ben = ada.another("Ben");
    let plan = plan("date=Date,coop=Henhouse,eggs=Count");
    assert_eq!(take(&ada.farm, PLAIN, &plan).added, 4);
    let before = ada.view();
    let again = take(&ada.farm, PLAIN, &plan);
    assert_eq!((again.read, again.added, again.skipped), (4, 0, 4));
    assert_eq!(ada.view(), before);

    // Ben takes the same paper, with one more line at its end, before the phones meet.
    let longer = format!("{PLAIN}2026-03-05,Orchard,7\n");
    assert_eq!(take(&ben.farm, &longer, &plan).added, 5);
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
    let gathers = ada.farm.list(&Filter {
        kind: Some(Kind::Gather),
        ..Filter::default()
    });
    assert_eq!(gathers.expect("a list").len(), 5, "one set, not two");
    for phone in [&ada, &ben] {
        assert_eq!(
            phone.farm.check().expect("a check").wrong,
            Vec::<String>::new()
        );
        assert_eq!(
            phone.farm.strays().expect("a list"),
            [],
            "the same said twice"
        );
    }
    assert_eq!(take(&ben.farm, &longer, &plan).skipped, 5);

    // What was corrected or voided since is not brought back.
    let rows = ada.farm.list(&Filter {
        kind: Some(Kind::Gather),
        ..Filter::default()
    });
    let id = rows.expect("a list")[0].id;
    ada.farm.void(id, "a slip of the pen").expect("a void");
    let before = ada.view();
    assert_eq!(take(&ada.farm, &longer, &plan).added, 0);
    assert_eq!(ada.view(), before);
}

#[test]
fn a_dry_run_says_the_same_and_changes_nothing() {
    let phone = phone();
    let text = "Date,Coop,Eggs\n2026-03-01,Orchard,12\n2026-03-01,Shed,3\n";
    let plan = plan("date=Date,coop=Coop,eggs=Eggs");
    let before = phone.view();
    let dry = phone.farm.import_log(text.as_bytes(), &plan, true);
    assert_eq!(phone.view(), before);
    assert_eq!(dry.expect("a report"), take(&phone.farm, text, &plan));
    assert_ne!(phone.view(), before);
}

#[test]
fn every_row_that_cannot_be_read_is_named_and_keeps_no_other_out() {
    let phone = phone();
    let mut text = b"Date,Time,Coop,Species,Eggs,Weights,Birds\r\n".to_vec();
    let rows: [(&[u8], &str); 16] = [
        (b"2026-02-30,,Orchard,hen,1,,", "no date"),
        (b"03/04/2026,,Orchard,hen,1,,", "which number is the day"),
        (b"2026-03-01,26:00,Orchard,hen,1,,", "no time"),
        (b"2026-03-01,,Barn,hen,1,,", "the farm knows Orchard, Pond"),
        (b"2026-03-01,,Orchard,duck,1,,", "coop Orchard holds hen"),
        (
            b"2026-03-01,,Pond,,1,,",
            "no species is named; coop Pond holds hen and duck",
        ),
        (
            b"2026-03-01,,Pond,gull,1,,",
            "species \"gull\" is not known",
        ),
        (b"2026-03-01,,Orchard,hen,-1,,", "eggs \"-1\""),
        (b"2026-03-01,,Orchard,hen,12 and a half,,", "whole numbers"),
        (
            b"2026-03-01,,Orchard,hen,10001,,",
            "allowed are whole numbers from 0 to 10000",
        ),
        (b"2026-03-01,,Orchard,hen,1,\"58,60\",", "weight \"58,60\""),
        (b"2026-03-01,,Orchard,hen,1,2.1,", "5 to 500 g"),
        (b"2026-03-01,,Orchard,hen,1,58,six", "birds \"six\""),
        (b"2026-03-01,,Orch\xffrd,hen,1,,", "is not UTF-8"),
        (
            b"2026-03-01,,Orchard,hen,1,,,8",
            "it has 8 cells, the heading 7",
        ),
        (b"2027-03-01,,Orchard,hen,1,,", "allowed is a time from"),
    ];
    for (row, _) in &rows {
        text.extend(*row);
        text.extend(b"\r\n");
    }
    text.extend(
        b"2026-03-29,01:30,Orchard,hen,2,,\r\n2026-03-29,03:30,Orchard,hens,4,58;60.5 61,9",
    );
    let map = "date=Date,time=Time,coop=Coop,species=Species,eggs=Eggs,weights=Weights,birds=Birds";
    let report = phone
        .farm
        .import_log(&text, &plan(map), false)
        .expect("a report");
    assert_eq!((report.read, report.added, report.skipped), (18, 1, 0));
    assert_eq!(report.errors.len(), 17);
    for (n, (row, due)) in rows.iter().enumerate() {
        let error = &report.errors[n];
        let row = String::from_utf8_lossy(row);
        assert_eq!(error.row, n + 2, "{row}");
        assert!(error.why.contains(due), "{row}: {}", error.why);
    }
    // Europe/Dublin, 29 March 2026: 01:00 to 02:00 does not exist (IANA time zone database).
    assert!(report.errors[16].why.contains("skip 01:30"), "{report:?}");
    let laid = span(&phone.farm, "2026-03-29", "2026-03-29");
    let orchard = laid.by_day[0].flocks.iter().find(|f| f.name == "Orchard");
    let orchard = orchard.expect("a flock");
    assert_eq!((orchard.eggs, orchard.birds), (Some(4), Some(9)));
    assert_eq!(laid.weights[0].eggs, 3);
}

#[test]
fn a_file_that_is_no_table_is_refused_as_a_whole() {
    let phone = phone();
    let before = phone.view();
    let plan = plan("date=Date,eggs=Count");
    for (bytes, due) in [
        (&b""[..], "a table with a heading"),
        (b"Day,Eggs\n2026-03-01,2\n", "the columns Day, Eggs"),
        (b"\xff\xfeD\0a\0t\0e\0", "UTF-8"),
        (b"Dat\xe9,Count\n1,2\n", "UTF-8"),
    ] {
        let e = phone.farm.import_log(bytes, &plan, false);
        let e = e.expect_err("no table").to_string();
        assert!(e.contains(due), "{e}");
    }
    let open =
        "Date,Coop,Count\n2026-03-01,Orchard,1\n2026-03-02,\"Orchard,2\n2026-03-03,Orchard,3\n";
    let plan = LogPlan::new("date=Date,coop=Coop,eggs=Count".parse().expect("a map"));
    assert_eq!(phone.view(), before);
    let report = take(&phone.farm, open, &plan);
    assert_eq!(report.added, 1);
    assert_eq!(why(&report), [(3, "a quotation mark is never closed")]);
}

#[test]
fn coops_are_added_only_when_asked_for() {
    let ada = phone();
    let ben = ada.another("Ben");
    let text = "Date,Coop,Kind,Eggs\n2026-03-02,Barn,ducks,3\n2026-03-01,barn,Hens,4\n\
                2026-03-03,Shed,,1\n2099-01-01,Attic,hen,1\n";
    let asked = LogPlan {
        new_coops: true,
        ..plan("date=Date,coop=Coop,species=Kind,eggs=Eggs")
    };
    let report = take(&ada.farm, text, &asked);
    assert_eq!(report.added, 2);
    assert_eq!(report.errors.len(), 2, "{report:?}");
    assert!(report.errors[0].why.contains("which birds it holds"));
    let coops = |phone: &Phone| {
        let rows = phone.farm.list(&Filter {
            kind: Some(Kind::Coop),
            ..Filter::default()
        });
        let rows = rows.expect("a list").into_iter();
        let mut names: Vec<String> = rows.map(|r| r.fields["name"].to_string()).collect();
        names.sort();
        names
    };
    assert_eq!(coops(&ada), ["\"Barn\"", "\"Orchard\"", "\"Pond\""]);
    // Both begin the same coop, since its id follows from the file.
    take(&ben.farm, text, &asked);
    meet(&ada, &ben);
    assert_eq!(coops(&ben), ["\"Barn\"", "\"Orchard\"", "\"Pond\""]);
    assert_eq!(ada.view(), ben.view());
    let first = &span(&ada.farm, "2026-02-01", "2026-03-02").by_day[0];
    assert_eq!(first.day, day("2026-03-01"), "a coop begins with the log");
    let barn = first.flocks.iter().find(|f| f.species == Species::Hen);
    assert_eq!(barn.expect("a flock").eggs, Some(4));
}

#[test]
fn what_a_log_does_not_say_can_be_said_beside_it() {
    let phone = phone();
    let text = "Date,Eggs,Weights\n2026-03-01,4,2.1 2.05\n";
    let said = LogPlan {
        coop: Some("Pond".into()),
        species: Some(Species::Duck),
        unit: Some(WeightUnit::Ounces),
        ..plan("date=Date,eggs=Eggs,weights=Weights")
    };
    assert_eq!(take(&phone.farm, text, &said).added, 1);
    let weights = span(&phone.farm, "2026-03-01", "2026-03-01").weights;
    // 2.1 oz = 59.53 g and 2.05 oz = 58.12 g, at 28.349523125 g an ounce (NIST Handbook 44, app. C).
    assert_eq!(weights[0].mean_grams, 58.83);
    assert!(weights[0].classes.is_empty(), "no scheme knows ducks");
    let comma = "Date;Eggs;Weights\n2026-03-02;4;58,5 60,25\n";
    let said = LogPlan { unit: None, ..said };
    take(&phone.farm, comma, &said);
    let weights = span(&phone.farm, "2026-03-02", "2026-03-02").weights;
    assert_eq!(
        (weights[0].least_grams, weights[0].most_grams),
        (58.5, 60.25)
    );
}

// Worked example of an agricultural arithmetic textbook: on 1 March 200 birds, 4 die on the 12th, 10
// are added on the 16th and count from the 17th on; 3,852 eggs in the month: 6,270 hen-days, 61.4 %.
#[test]
fn hen_days_of_a_textbook_month() {
    let phone = phone();
    let mut text = String::from("Day,Eggs,Birds\n");
    for day in 1..=31 {
        let birds = match day {
            ..12 => 200,
            12..17 => 196,
            _ => 206,
        };
        // 3,852 = 31 times 124, and 8.
        let eggs = 124 + if day == 31 { 8 } else { 0 };
        text.push_str(&format!("{day:02}.03.2026,{eggs},{birds}\n"));
    }
    let said = LogPlan {
        coop: Some("Orchard".into()),
        ..plan("date=Day,eggs=Eggs,birds=Birds")
    };
    assert_eq!(take(&phone.farm, &text, &said).added, 31);
    let span = span(&phone.farm, "2026-03-01", "2026-03-31");
    let orchard = span.laying.iter().find(|l| l.name == "Orchard");
    let orchard = orchard.expect("a flock");
    assert_eq!(orchard.eggs, Some(3852));
    assert_eq!(orchard.hen_days, 6270);
    let rate = orchard.hen_day_percent.expect("a rate");
    assert!((rate - 61.4354).abs() < 5e-5, "{rate}");
    let headcounts = phone.farm.list(&Filter {
        kind: Some(Kind::Headcount),
        ..Filter::default()
    });
    assert_eq!(headcounts.expect("a list").len(), 3, "one for each change");

    // A day that nobody wrote down adds neither eggs nor hen-days: 31 lines less one.
    let other = Phone::first("Eve", "2026-05-02T12:00:00Z", "Europe/Dublin");
    let gap: String = text
        .lines()
        .filter(|line| !line.starts_with("20."))
        .map(|line| format!("{line}\n"))
        .collect();
    take(&other.farm, &gap, &said);
    let gap = other
        .farm
        .span(day("2026-03-01"), day("2026-03-31"), None)
        .expect("a span");
    let orchard = gap.laying.iter().find(|l| l.name == "Orchard");
    let orchard = orchard.expect("a flock");
    assert_eq!(
        (orchard.hen_days, orchard.eggs),
        (6270 - 206, Some(3852 - 124))
    );
    assert_eq!((orchard.days.known, orchard.days.unknown), (30, 1));
    let sheet = other.farm.sheet(day("2026-03-01"), day("2026-03-31"));
    let rows = sheet.expect("a sheet").gathered.by_coop;
    let row = rows.iter().find(|row| row.name == "Orchard");
    assert_eq!(row.expect("a row").days.unknown, 1);
}

#[test]
fn birds_count_from_their_first_headcount_and_hold_for_a_moment_in_order() {
    let phone = phone();
    let text = "Day,Eggs,Birds\n2026-03-01,5,\n2026-03-02,6,10\n2026-03-03,7,\n2026-03-04,8,9\n\
                2026-03-04,1,8\n";
    let said = LogPlan {
        coop: Some("Orchard".into()),
        ..plan("date=Day,eggs=Eggs,birds=Birds")
    };
    take(&phone.farm, text, &said);
    let span = span(&phone.farm, "2026-03-01", "2026-03-04");
    let orchard = span.laying.iter().find(|l| l.name == "Orchard");
    let orchard = orchard.expect("a flock");
    assert_eq!(orchard.hen_days, 10 + 10 + 8);
    assert_eq!(orchard.eggs_of_hen_days, 6 + 7 + 9);
    assert_eq!(orchard.days_without_birds, 1);
}

/// The weights of `goulden.eggs`; see `data/README.md`.
const WEIGHTS: &str = include_str!("data/egg_weight_daily.csv");

#[test]
fn the_weights_of_a_published_data_set() {
    let mut days: BTreeMap<u32, Vec<&str>> = BTreeMap::new();
    for line in WEIGHTS.lines().skip(1) {
        let (day, weight) = line.split_once(',').expect("two columns");
        days.entry(day.parse().expect("a day"))
            .or_default()
            .push(weight);
    }
    let mut text = String::from("weights,date\n");
    for (day, weights) in &days {
        text.push_str(&format!("{},2026-03-{day:02}\n", weights.join("; ")));
    }
    let phone = phone();
    phone.log(
        Draft::new(Kind::Headcount)
            .with("coop", "Orchard")
            .with("species", "hen")
            .with("birds", 9),
    );
    let said = LogPlan {
        coop: Some("Orchard".into()),
        ..plan("weights=weights,date=date")
    };
    assert_eq!(take(&phone.farm, &text, &said).added, 24);
    let span = span(&phone.farm, "2026-03-01", "2026-03-31");
    // Figures by Python's csv and fractions modules from the same file: 240 eggs, 14,467 g together;
    // classes from the printed ounces a dozen at 28.349523125 g, and from the grams of the EU.
    let hen = span.weights.iter().find(|w| w.coop.is_none());
    let hen = hen.expect("hens' eggs");
    assert_eq!(hen.eggs, 240);
    assert_eq!(hen.mean_grams, 60.28);
    assert_eq!((hen.least_grams, hen.most_grams), (44.0, 103.0));
    let classes = |scheme: &str| {
        let found = hen.classes.iter().find(|c| c.scheme == scheme);
        let found = found.expect("a scheme");
        let counts: Vec<(&str, usize)> = found
            .counts
            .iter()
            .map(|(class, n)| (class.as_str(), *n))
            .collect();
        (counts, found.under)
    };
    let us = [
        ("jumbo", 11),
        ("extra_large", 47),
        ("large", 108),
        ("medium", 72),
        ("small", 2),
        ("peewee", 0),
    ];
    assert_eq!(classes("us"), (us.to_vec(), 0));
    assert_eq!(
        classes("eu"),
        (vec![("xl", 9), ("l", 66), ("m", 149), ("s", 16)], 0)
    );
    let mean = |n: usize| {
        span.by_day
            .iter()
            .find(|d| d.day == day(&format!("2026-03-{n:02}")))
            .and_then(|d| d.mean_grams.get(&Species::Hen).copied())
    };
    assert_eq!(
        [mean(1), mean(9), mean(24), mean(25)],
        [Some(57.5), Some(64.3), Some(61.2), None]
    );
    let orchard = span.weights.iter().find(|w| w.coop.is_some());
    assert_eq!(orchard.expect("of a coop").name, "Orchard");
}
