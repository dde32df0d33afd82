//! The report as a page of Markdown tables.

use std::collections::BTreeSet;
use std::fmt::Write;

use crate::figures::Figures;
use crate::report::Report;

/// The whole page.
pub fn page(report: &Report<'_>, figures: &Figures) -> String {
    let mut page = format!(
        "# Figures of one run\n\nWritten by `cargo xtask bench --keep`; do not edit.\n\n\
         {}, {}. Load average over 1, 5 and 15 minutes: {} before, {} after; with two cores, more than\n\
         2 means that something else ran at the same time. A figure is the median of its runs, with the\n\
         least of them in brackets.\n\n![Curves over years of history](growth.svg)\n",
        report.machine, report.versions, report.load_before, report.load_after
    );
    let works: BTreeSet<&str> = figures.0.iter().map(|f| f.work.as_str()).collect();
    for work in works {
        table(&mut page, work, figures);
    }
    page += "\n## Targets\n\n| target | is | at most | |\n|---|--:|--:|---|\n";
    for t in &report.targets {
        let met = if t.met { "met" } else { "**missed**" };
        let (is, most) = (number(t.is), number(t.most));
        let _ = writeln!(page, "| {} | {is} | {most} | {met} |", t.should);
    }
    page += "\n## Peers, as multiples of Pointdown\n\nUnder 1 the peer is ahead.\n\n\
             | work | years | peer | theirs | ours | ratio |\n|---|--:|---|--:|--:|--:|\n";
    for r in &report.ratios {
        let (theirs, ours) = (number(r.theirs), number(r.ours));
        let ratio = match r.ratio {
            ratio if ratio < 1.0 => format!("**{ratio:.2}**"),
            ratio => format!("{ratio:.2}"),
        };
        let _ = writeln!(
            page,
            "| ({}) {} | {} | {} | {theirs} | {ours} | {ratio} |",
            r.work, r.what, r.years, r.peer
        );
    }
    page
}

/// One table for a letter: a row for what was measured through what, a column a history.
fn table(page: &mut String, work: &str, figures: &Figures) {
    let of: Vec<_> = figures.0.iter().filter(|f| f.work == work).collect();
    let years: BTreeSet<u32> = of.iter().map(|f| f.years).collect();
    let _ = write!(page, "\n## ({work})\n\n| what | through | unit |");
    for n in &years {
        let _ = write!(page, " {n} years |");
    }
    page.push_str("\n|---|---|---|");
    page.push_str(&"--:|".repeat(years.len()));
    page.push('\n');
    let mut rows: Vec<(&str, &str, &str)> = Vec::new();
    for f in &of {
        let row = (f.what.as_str(), f.through.as_str(), f.unit.as_str());
        if !rows.contains(&row) {
            rows.push(row);
        }
    }
    for (what, through, unit) in rows {
        let _ = write!(page, "| {what} | {through} | {unit} |");
        for n in &years {
            let here = of
                .iter()
                .find(|f| f.what == what && f.through == through && f.years == *n);
            let cell = here.map_or(String::new(), |f| match f.least {
                Some(least) if f.runs > 1 && f.unit == "ms" => {
                    format!("{} ({})", number(f.value), number(least))
                }
                _ => number(f.value),
            });
            let _ = write!(page, " {cell} |");
        }
        page.push('\n');
    }
}

/// As many digits as mean something.
fn number(value: f64) -> String {
    match value.abs() {
        v if v >= 100.0 || v.fract() == 0.0 => format!("{value:.0}"),
        v if v >= 10.0 => format!("{value:.1}"),
        v if v >= 0.1 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    }
}
