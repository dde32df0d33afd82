//! The figures beside their targets.

use serde::Serialize;

use crate::Outcome;
use crate::figures::{Figure, Figures};
use crate::ours::US;

/// What a figure should be at the most, and whether it is.
#[derive(Debug, Serialize)]
struct Target {
    /// What should hold.
    should: String,
    /// The figure.
    is: f64,
    /// The most that it may be.
    most: f64,
    /// Whether it holds.
    met: bool,
}

/// Everything that is printed.
#[derive(Debug, Serialize)]
struct Report<'a> {
    machine: String,
    figures: &'a [Figure],
    targets: Vec<Target>,
    growth: Vec<Growth>,
}

/// How a figure grows with the years.
#[derive(Debug, Serialize)]
struct Growth {
    what: &'static str,
    through: &'static str,
    exponent: f64,
}

/// Works whose cost must not follow the history.
const FLAT: [&str; 6] = [
    "log one record, durable",
    "open, and show today's sheet",
    "30 up and 30 down: sent",
    "30 up and 30 down: received",
    "30 up and 30 down: loopback",
    "the sheet of a year",
];

fn targets(figures: &Figures) -> Vec<Target> {
    let mut all = Vec::new();
    let mut at_most = |should: String, is: Option<f64>, most: Option<f64>| {
        if let (Some(is), Some(most)) = (is, most) {
            let met = is <= most;
            all.push(Target {
                should,
                is,
                most,
                met,
            });
        }
    };
    let years: std::collections::BTreeSet<u32> = figures.0.iter().map(|f| f.years).collect();
    let peers: std::collections::BTreeSet<&str> = figures
        .0
        .iter()
        .map(|f| f.through)
        .filter(|through| through.ends_with("document"))
        .collect();
    for &n in &years {
        let us = |what: &str| figures.value(what, US, n);
        let rows = figures.value("log one record, durable", "SQLite rows", n);
        let log = "log one record, durable";
        at_most(
            format!("(a) {n} years: at most 2 bare durable inserts"),
            us(log),
            rows.map(|r| 2.0 * r),
        );
        let none = figures.value(log, US, 0);
        at_most(
            format!("(a) {n} years: at most 1.2 times that without a history"),
            us(log),
            none.map(|r| 1.2 * r),
        );
        at_most(
            format!("(b) {n} years: at most 50 ms"),
            us("open, and show today's sheet"),
            Some(50.0),
        );
        at_most(
            format!("(c) {n} years: one round trip"),
            us("30 up and 30 down: round trips"),
            Some(1.0),
        );
        let least = Some(110.0 * 30.0 + 300.0);
        at_most(
            format!("(c) {n} years: at most 110 bytes a record and 300 sent"),
            us("30 up and 30 down: sent"),
            least,
        );
        at_most(
            format!("(c) {n} years: at most 110 bytes a record and 300 received"),
            us("30 up and 30 down: received"),
            least,
        );
        at_most(
            format!("(d) {n} years: today's totals within two round trips"),
            us("a new phone: today's totals, trips"),
            Some(2.0),
        );
        at_most(
            format!("(d) {n} years: today's totals within 100 kB"),
            us("a new phone: today's totals, passed"),
            Some(100_000.0),
        );
        let yardstick = figures.value(
            "the same records, on one disk page after another",
            "postcard + zstd 19",
            n,
        );
        at_most(
            format!("(d) {n} years: everything in twice the yardstick"),
            us("a new phone: received"),
            yardstick.map(|y| 2.0 * y),
        );
        at_most(
            format!("(e) {n} years: at most 1 s"),
            us("merge 8 phones after a week"),
            Some(1000.0),
        );
        at_most(
            format!("(f) {n} years: a day in 1 ms"),
            us("the sheet of a day"),
            Some(1.0),
        );
        at_most(
            format!("(f) {n} years: a year in 20 ms"),
            us("the sheet of a year"),
            Some(20.0),
        );
        at_most(
            format!("(f) {n} years: 3,000 eggs in 20 ms"),
            us("a carton plan of 3,000 eggs"),
            Some(20.0),
        );
        at_most(
            format!("(g) {n} years: the changes in twice the yardstick"),
            us("the changes in it"),
            yardstick.map(|y| 2.0 * y),
        );
        for peer in &peers {
            for what in [
                log,
                "open, and show today's sheet",
                "30 up and 30 down: sent",
                "30 up and 30 down: received",
                "a new phone: received",
                "merge 8 phones after a week",
            ] {
                at_most(
                    format!("{n} years: {what}: no more than the {peer}"),
                    us(what),
                    figures.value(what, peer, n),
                );
            }
        }
    }
    all
}

/// Prints everything; whether every target was met.
pub fn show(figures: &Figures, json: bool) -> Outcome<bool> {
    let targets = targets(figures);
    let met = targets.iter().all(|t| t.met);
    let growth = FLAT
        .iter()
        .filter_map(|what| {
            Some(Growth {
                what,
                through: US,
                exponent: figures.exponent(what, US)?,
            })
        })
        .collect();
    let report = Report {
        machine: machine(),
        figures: &figures.0,
        targets,
        growth,
    };
    if json {
        println!("{}", serde_json::to_string(&report)?);
        return Ok(met);
    }
    println!("Machine: {}", report.machine);
    for t in &report.targets {
        let word = if t.met { "met   " } else { "MISSED" };
        println!("{word} {:<90} {:>12.3} of {:>12.3}", t.should, t.is, t.most);
    }
    for g in &report.growth {
        println!(
            "growth of {:<40} years to the power of {:.2}",
            g.what, g.exponent
        );
    }
    Ok(met)
}

/// Processor and system, as the system names them.
fn machine() -> String {
    let read = |path: &str| std::fs::read_to_string(path).unwrap_or_default();
    let info = read("/proc/cpuinfo");
    let model = info
        .lines()
        .find_map(|line| line.strip_prefix("model name"))
        .map_or("unknown processor", |rest| {
            rest.trim_start_matches([' ', '\t', ':'])
        });
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    let load = read("/proc/loadavg");
    let load = load.split(' ').next().unwrap_or("?");
    format!("{cores} x {model}, load {load} at the end")
}
