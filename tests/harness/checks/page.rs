use std::fmt::Write;

use super::{Check, Kind};

/// A figure with at most six decimals and no zeros at the end.
fn figure(value: f64) -> String {
    let text = format!("{value:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Published => "published",
        Kind::CommonPractice => "common practice",
        Kind::Memory => "memory",
    }
}

fn verdict(row: &Check) -> &'static str {
    if row.ok { "yes" } else { "NO" }
}

fn summary(rows: &[Check]) -> String {
    let published = rows.iter().filter(|r| r.kind == Kind::Published).count();
    let failed = rows.iter().filter(|r| !r.ok).count();
    format!(
        "{} figures, {published} of them published; {failed} disagree.",
        rows.len()
    )
}

/// The rows as one JSON object, `{"checks":[…]}`. A figure that could not be computed is `null`.
pub fn json(rows: &[Check]) -> String {
    serde_json::json!({ "checks": rows }).to_string()
}

/// The rows as plain text, one a line.
pub fn table(rows: &[Check]) -> String {
    let mut text = String::new();
    for row in rows {
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{:3} {:>14} {:>14}  {}  [{}; {}]",
            verdict(row),
            figure(row.expected),
            figure(row.got),
            row.name,
            row.source,
            kind(row.kind)
        );
    }
    text + &summary(rows) + "\n"
}

/// The rows as a page in Markdown: each figure, its source and the computed value side by side.
pub fn markdown(rows: &[Check]) -> String {
    let mut text = String::from(
        "# Figures of the trade, checked against the world\n\n\
         This page is generated (`cargo run -p pointdown-tests --bin checks -- --page`) and a test \
         fails when it is out of date.\nEach line sets a figure from outside the project beside \
         what the code computes. *Published*: a text, table or\nindependent library that was read \
         or run. *Memory*: known from the cited text, not read again. *Common practice*:\na habit \
         of the trade without a publication. A limit is found by asking the code on both sides of \
         it.\n\nLocal codes, product labels and veterinarians decide; nothing here declares eggs \
         safe or a sale legal.\n\n",
    );
    let _ = writeln!(text, "{}\n", summary(rows));
    text.push_str("| What | Expected | Tolerance | Computed | Agrees | Source | Kind |\n");
    text.push_str("| --- | ---: | ---: | ---: | --- | --- | --- |\n");
    for row in rows {
        let cell = |s: &str| s.replace('|', "\\|");
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} |",
            cell(&row.name),
            figure(row.expected),
            figure(row.tolerance),
            figure(row.got),
            verdict(row),
            cell(&row.source),
            kind(row.kind)
        );
    }
    text
}
