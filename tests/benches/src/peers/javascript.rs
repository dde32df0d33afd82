//! The peers in JavaScript, each a script of its own that is handed the same records in a file and
//! prints one figure a line as JSON.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::json;

use super::Workload;
use crate::Outcome;
use crate::figures::{Figures, Told};
use crate::ours_sync::{A_WEEK, APART, PHONES};

const SCRIPTS: [&str; 2] = ["pouchdb.mjs", "automerge-repo.mjs"];

/// All of them.
pub fn everything(
    work: &Workload,
    scripts: &Path,
    disk: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let given = disk.join("workload.json");
    let another: Vec<_> = (0..4000).map(|n| work.another(40_000 + n)).collect();
    std::fs::write(
        &given,
        serde_json::to_vec(&json!({
            "years": work.years,
            "records": work.records,
            "another": another,
            "day": work.day,
            "apart": APART,
            "week": A_WEEK,
            "phones": PHONES,
            "runs": runs,
        }))?,
    )?;
    for name in SCRIPTS {
        script(&scripts.join(name), &[&given, disk], work.years, figures)?;
    }
    Ok(())
}

/// Runs a script that prints one figure a line, and notes them.
pub fn script(program: &Path, words: &[&Path], years: u32, figures: &mut Figures) -> Outcome<()> {
    let mut child = Command::new("node")
        .arg(program)
        .args(words)
        .stdout(Stdio::piped())
        .spawn()?;
    if let Some(output) = child.stdout.take() {
        for line in BufReader::new(output).lines() {
            let told: Told = serde_json::from_str(&line?)?;
            figures.told(told, years);
        }
    }
    let status = child.wait()?;
    if !status.success() {
        return Err(format!("{} failed ({status})", program.display()).into());
    }
    Ok(())
}
