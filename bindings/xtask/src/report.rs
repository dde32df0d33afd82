//! What the gate did: each step with its time, and every check that was left out.

use std::time::{Duration, Instant};

use crate::process::{print, say};

/// How a step ended when it did not fail.
pub(crate) enum Done {
    /// It ran; with a remark for the summary, such as how many tests passed.
    Ran(Option<String>),
    /// It could not run here, and why.
    Skipped(String),
}

/// The summary under way.
#[derive(Default)]
pub(crate) struct Report {
    lines: Vec<String>,
    skipped: Vec<String>,
    total: Duration,
}

impl Report {
    /// Runs one step under a heading and notes how it went.
    pub(crate) fn step(
        &mut self,
        name: &str,
        work: impl FnOnce(&mut Self) -> Result<Done, String>,
    ) -> Result<(), String> {
        say(&format!("\n==> {name}"));
        let started = Instant::now();
        let outcome = work(self);
        let took = started.elapsed();
        self.total += took;
        let (word, remark) = match &outcome {
            Ok(Done::Ran(remark)) => ("ok", remark.clone().unwrap_or_default()),
            Ok(Done::Skipped(why)) => {
                self.skip(name, why);
                ("SKIPPED", String::new())
            }
            Err(_) => ("FAILED", String::new()),
        };
        say(&format!("<== {name}: {word}, {:.1} s", took.as_secs_f64()));
        let seconds = took.as_secs_f64();
        let line = format!("  {word:<8} {seconds:>7.1} s  {name:<12} {remark}");
        self.lines.push(line.trim_end().to_owned());
        outcome
            .map(|_| ())
            .map_err(|why| format!("step {name}: {why}"))
    }

    /// Notes a check that was left out, loudly and at once.
    pub(crate) fn skip(&mut self, name: &str, why: &str) {
        say(&format!("!!! SKIPPED {name}: {why}"));
        self.skipped.push(format!("  {name}: {why}"));
    }

    /// Prints the summary to standard output; after a failure with the steps never reached.
    pub(crate) fn print(&self, failure: Option<&str>, not_reached: &[&str]) {
        let mut text = String::from("\nSummary\n");
        for line in &self.lines {
            text += line;
            text.push('\n');
        }
        let total = self.total.as_secs_f64();
        text += &format!("  total    {total:>7.1} s\n");
        if !self.skipped.is_empty() {
            text += "SKIPPED, so not checked here:\n";
            for line in &self.skipped {
                text += line;
                text.push('\n');
            }
        } else if failure.is_none() {
            text += "Nothing was skipped.\n";
        }
        if !not_reached.is_empty() {
            text += &format!("Not reached: {}\n", not_reached.join(", "));
        }
        text += &match failure {
            None => "Passed.\n".to_owned(),
            Some(why) => format!("FAILED at {why}\n"),
        };
        print(&text);
    }
}
