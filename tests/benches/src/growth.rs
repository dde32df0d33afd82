//! How cost grows, with history and with phones, and its picture.

use std::fmt::Write;

use serde::Serialize;

use crate::Outcome;
use crate::family::Family;
use crate::figures::{Figures, exponent};
use crate::ours::US;
use crate::ours_sync::{PHONES, merge};

/// Families of these sizes, with a year of history.
const SIZES: [usize; 4] = [2, 4, 8, 16];

/// How a figure grows.
#[derive(Debug, Serialize)]
pub struct Growth {
    /// Of what.
    pub what: String,
    /// Over what.
    pub over: &'static str,
    /// Cost is this over to the power of `exponent`.
    pub exponent: f64,
    /// The most that it may be.
    pub most: f64,
}

/// Works whose cost must not follow the history. A tenth is what noise and the logarithms of trees
/// may come to.
const FLAT: [&str; 9] = [
    "log one record, durable",
    "open, and show today's sheet",
    "30 up and 30 down: sent",
    "30 up and 30 down: received",
    "30 up and 30 down: loopback",
    "today's totals: passed",
    "merge 8 phones after a week",
    "the sheet of a year",
    "the review list",
];

/// Works that carry the whole history.
const LINEAR: [&str; 4] = [
    "a new phone: everything",
    "a new phone: received",
    "the database",
    "the changes in it",
];

/// Merges families of several sizes.
pub fn devices(family: &Family, runs: usize, figures: &mut Figures) -> Outcome<()> {
    for count in SIZES {
        if count != PHONES {
            merge(family, count, runs, figures)?;
        }
    }
    Ok(())
}

/// A phone's share of the merge, by the number of phones. Each gets what all others logged, so its
/// share of the change grows as the number of phones does.
fn shares(figures: &Figures) -> Vec<(f64, f64)> {
    let share = |n: usize| {
        let all = figures.value(&format!("merge {n} phones after a week"), US, 1)?;
        Some((n as f64, all / n as f64))
    };
    SIZES.into_iter().filter_map(share).collect()
}

/// All fitted exponents.
pub fn fitted(figures: &Figures) -> Vec<Growth> {
    let years = |what: &str, most: f64| {
        Some(Growth {
            what: what.into(),
            over: "years of history",
            exponent: exponent(&figures.over_years(what, US))?,
            most,
        })
    };
    let flat = FLAT.iter().filter_map(|what| years(what, 0.1));
    let linear = LINEAR.iter().filter_map(|what| years(what, 1.05));
    let shared = exponent(&shares(figures)).map(|exponent| Growth {
        what: "a phone's share of the merge".into(),
        over: "phones",
        exponent,
        most: 1.05,
    });
    flat.chain(linear).chain(shared).collect()
}

const PANELS: [(&str, &str); 6] = [
    ("log one record, durable", "(a) log one record, ms"),
    (
        "open, and show today's sheet",
        "(b) open, today's sheet, ms",
    ),
    ("30 up and 30 down: loopback", "(c) 30 up and 30 down, ms"),
    ("a new phone: received", "(d) a new phone, bytes"),
    ("merge 8 phones after a week", "(e) merge 8 phones, ms"),
    ("the database", "(g) the database, bytes"),
];
const COLOURS: [&str; 7] = [
    "#000000", "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9",
];

/// The curves as one SVG picture: years across, cost upwards on a logarithmic scale.
pub fn drawing(figures: &Figures) -> String {
    let mut names: Vec<&str> = Vec::new();
    for figure in &figures.0 {
        let drawn = PANELS.iter().any(|(what, _)| *what == figure.what);
        if drawn && !names.contains(&figure.through.as_str()) {
            names.push(&figure.through);
        }
    }
    let mut svg = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 960 640\" \
         font-family=\"sans-serif\" font-size=\"11\">\n\
         <title>Cost over years of history</title>\n\
         <rect width=\"960\" height=\"640\" fill=\"#fff\"/>\n",
    );
    for (n, (what, title)) in PANELS.iter().enumerate() {
        let (x, y) = (60.0 + (n % 3) as f64 * 310.0, 40.0 + (n / 3) as f64 * 280.0);
        let lines = names.iter().map(|name| figures.over_years(what, name));
        panel(&mut svg, (x, y), title, &lines.collect::<Vec<_>>());
    }
    for (n, name) in names.iter().enumerate() {
        let x = 60 + n * 125;
        let colour = COLOURS[n % COLOURS.len()];
        let _ = writeln!(
            svg,
            "<rect x=\"{x}\" y=\"608\" width=\"10\" height=\"10\" fill=\"{colour}\"/>\
             <text x=\"{}\" y=\"617\">{name}</text>",
            x + 14
        );
    }
    svg + "</svg>\n"
}

const WIDE: f64 = 240.0;
const HIGH: f64 = 210.0;

fn panel(svg: &mut String, (left, top): (f64, f64), title: &str, lines: &[Vec<(f64, f64)>]) {
    let all = || lines.iter().flatten().filter(|(_, y)| *y > 0.0);
    let least = all().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let most = all().map(|p| p.1).fold(0.0, f64::max);
    if most <= 0.0 {
        return;
    }
    let (low, high) = (least.log10().floor(), most.log10().ceil());
    let span = (high - low).max(1.0);
    let across = all().map(|p| p.0).fold(1.0, f64::max);
    let at = |(x, y): (f64, f64)| {
        (
            left + x / across * WIDE,
            top + HIGH - (y.log10() - low) / span * HIGH,
        )
    };
    let _ = writeln!(
        svg,
        "<text x=\"{left}\" y=\"{}\" font-weight=\"bold\">{title}</text>\
         <rect x=\"{left}\" y=\"{top}\" width=\"{WIDE}\" height=\"{HIGH}\" fill=\"none\" stroke=\"#999\"/>",
        top - 8.0
    );
    let mut power = low;
    while power <= low + span {
        let (_, y) = at((0.0, 10f64.powf(power)));
        let _ = writeln!(
            svg,
            "<path d=\"M{left} {y:.1}h{WIDE}\" stroke=\"#ddd\"/>\
             <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            left - 4.0,
            y + 4.0,
            10f64.powf(power)
        );
        power += 1.0;
    }
    for year in [0.0, across / 4.0, across / 2.0, across] {
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{year}</text>",
            at((year, 1.0)).0,
            top + HIGH + 14.0
        );
    }
    for (n, line) in lines.iter().enumerate() {
        let colour = COLOURS[n % COLOURS.len()];
        let points: Vec<(f64, f64)> = line.iter().filter(|p| p.1 > 0.0).map(|p| at(*p)).collect();
        let path: Vec<String> = points
            .iter()
            .map(|(x, y)| format!("{x:.1},{y:.1}"))
            .collect();
        let wide = if n == 0 { 2.5 } else { 1.5 };
        let _ = writeln!(
            svg,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{wide}\"/>",
            path.join(" ")
        );
        for (x, y) in points {
            let _ = writeln!(
                svg,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3\" fill=\"{colour}\"/>"
            );
        }
    }
}
