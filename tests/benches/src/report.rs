//! The figures beside their targets.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde::Serialize;

use crate::Outcome;
use crate::figures::{Figure, Figures};
use crate::growth::{Growth, drawing, fitted};
use crate::ours::{US, YARDSTICK};
use crate::ours_sync::APART;
use crate::page::page;
use crate::peers::ROWS;

/// What a figure should be at the most, and whether it is.
#[derive(Debug, Serialize)]
pub struct Target {
    /// What should hold.
    pub should: String,
    /// The figure.
    pub is: f64,
    /// The most that it may be.
    pub most: f64,
    /// Whether it holds.
    pub met: bool,
}

/// A peer's figure over ours.
#[derive(Debug, Serialize)]
pub struct Ratio {
    /// Which work.
    pub work: String,
    /// What of it.
    pub what: String,
    /// Through what.
    pub peer: String,
    /// Years of history.
    pub years: u32,
    /// Our figure.
    pub ours: f64,
    /// The peer's.
    pub theirs: f64,
    /// How many times as much theirs is; under 1 they are ahead.
    pub ratio: f64,
}

/// Everything that is printed.
#[derive(Debug, Serialize)]
pub struct Report<'a> {
    /// Processor and cores.
    pub machine: String,
    /// Of the compiler and of node.
    pub versions: String,
    /// Load average when it began.
    pub load_before: &'a str,
    /// Load average when it ended.
    pub load_after: String,
    figures: &'a [Figure],
    /// What should hold.
    pub targets: Vec<Target>,
    /// Peers beside us.
    pub ratios: Vec<Ratio>,
    growth: Vec<Growth>,
}

const LOG: &str = "log one record, durable";
const OPEN: &str = "open, and show today's sheet";

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
    let years: BTreeSet<u32> = figures.0.iter().map(|f| f.years).collect();
    let none = |what: &str| figures.value(what, US, 0);
    let most = (110 * APART + 300) as f64;
    for &n in &years {
        let us = |what: &str| figures.value(what, US, n);
        let rows = figures.value(LOG, ROWS, n);
        let packed = figures.value("the same facts, packed", YARDSTICK, n);
        for (should, what, limit) in [
            (
                "(a) at most 2 bare durable inserts",
                LOG,
                rows.map(|r| 2.0 * r),
            ),
            (
                "(a) at most 1.2 times that without history",
                LOG,
                none(LOG).map(|r| 1.2 * r),
            ),
            ("(b) at most 50 ms", OPEN, Some(50.0)),
            (
                "(c) one round trip",
                "30 up and 30 down: round trips",
                Some(1.0),
            ),
            (
                "(c) sent: 110 bytes a record and 300",
                "the same sent, with HTTP heads",
                Some(most),
            ),
            (
                "(c) received: 110 bytes a record and 300",
                "the same received, with HTTP heads",
                Some(most),
            ),
            (
                "(d) today's totals: two round trips",
                "today's totals: round trips",
                Some(2.0),
            ),
            (
                "(d) today's totals: 100 kB",
                "today's totals: passed",
                Some(100_000.0),
            ),
            (
                "(d) all: twice the packed facts",
                "a new phone: received",
                packed.map(|y| 2.0 * y),
            ),
            (
                "(e) at most 1 s",
                "merge 8 phones after a week",
                Some(1000.0),
            ),
            ("(f) a day in 1 ms", "the sheet of a day", Some(1.0)),
            ("(f) a year in 20 ms", "the sheet of a year", Some(20.0)),
            (
                "(f) a plan in 20 ms",
                "a carton plan of 3,000 eggs",
                Some(20.0),
            ),
            (
                "(g) changes: twice the packed facts",
                "the changes in it",
                packed.map(|y| 2.0 * y),
            ),
        ] {
            at_most(format!("{should}, {n} years"), us(what), limit);
        }
    }
    for growth in fitted(figures) {
        let Growth {
            what,
            over,
            exponent,
            most,
        } = growth;
        at_most(
            format!("growth of {what} over {over}, exponent"),
            Some(exponent),
            Some(most),
        );
    }
    all
}

/// Every figure that a peer has too.
fn ratios(figures: &Figures) -> Vec<Ratio> {
    let peers = figures
        .0
        .iter()
        .filter(|f| ![US, ROWS, YARDSTICK, "Pointdown in a browser"].contains(&f.through.as_str()));
    peers
        .filter_map(|theirs| {
            let ours = figures.value(&theirs.what, US, theirs.years)?;
            Some(Ratio {
                work: theirs.work.clone(),
                what: theirs.what.clone(),
                peer: theirs.through.clone(),
                years: theirs.years,
                ours,
                theirs: theirs.value,
                ratio: theirs.value / ours,
            })
        })
        .collect()
}

/// Prints everything; whether every target was met and no peer is ahead.
pub fn show(
    figures: &Figures,
    load_before: &str,
    keep: Option<&Path>,
    json: bool,
) -> Outcome<bool> {
    let report = Report {
        machine: machine(),
        versions: versions(),
        load_before,
        load_after: load(),
        figures: &figures.0,
        targets: targets(figures),
        ratios: ratios(figures),
        growth: fitted(figures),
    };
    let met = report.targets.iter().all(|t| t.met);
    if let Some(folder) = keep {
        std::fs::write(folder.join("growth.svg"), drawing(figures))?;
        std::fs::write(folder.join("results.md"), page(&report, figures))?;
        let json = serde_json::to_string_pretty(&report)?;
        std::fs::write(folder.join("results.json"), json + "\n")?;
    }
    let ahead = report.ratios.iter().all(|r| r.ratio >= 1.0);
    if json {
        println!("{}", serde_json::to_string_pretty(&report)?);
        return Ok(met && ahead);
    }
    println!("machine: {}", report.machine);
    println!(
        "load average before: {load_before}; after: {}",
        report.load_after
    );
    for t in &report.targets {
        let word = if t.met { "met   " } else { "MISSED" };
        println!("{word} {:<70} {:>12.3} of {:>12.3}", t.should, t.is, t.most);
    }
    for r in &report.ratios {
        let word = if r.ratio >= 1.0 { "ahead " } else { "BEHIND" };
        println!(
            "{word} ({}) {:>2} years, {:<34} {:<20} {:>8.2} times ours",
            r.work, r.years, r.what, r.peer, r.ratio
        );
    }
    Ok(met && ahead)
}

/// Processes that ran or waited for a core, on average over 1, 5 and 15 minutes.
pub fn load() -> String {
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    load.split(' ').take(3).collect::<Vec<_>>().join(" ")
}

/// Processor and number of cores, as the system names them.
fn machine() -> String {
    let info = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let model = info
        .lines()
        .find_map(|line| line.strip_prefix("model name"))
        .map_or("unknown processor", |rest| {
            rest.trim_start_matches([' ', '\t', ':'])
        });
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    format!("{cores} x {model}")
}

/// What compiled this, where that is the compiler in use, and what runs the scripts.
fn versions() -> String {
    let said = |program: &str| {
        let output = Command::new(program).arg("--version").output().ok()?;
        let text = String::from_utf8(output.stdout).ok()?;
        Some(text.trim().split(" (").next()?.to_owned())
    };
    let node = said("node").map(|version| format!("node {version}"));
    let all = [said("rustc"), node];
    all.into_iter().flatten().collect::<Vec<_>>().join(", ")
}
