//! What was measured, beside what it should be, and how it is shown.

use std::time::{Duration, Instant};

use serde::Serialize;

/// One figure.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    /// Which work: the letter of the list in the README.
    pub work: &'static str,
    /// What of it was measured.
    pub what: &'static str,
    /// Through what.
    pub through: &'static str,
    /// Years of history that were there.
    pub years: u32,
    /// The figure, a median where there were several runs.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// How many runs stand behind it.
    pub runs: usize,
}

/// All figures of a run.
#[derive(Debug, Default)]
pub struct Figures(pub Vec<Figure>);

impl Figures {
    /// Notes a figure, and says it on standard error as it comes.
    pub fn note(
        &mut self,
        (work, what): (&'static str, &'static str),
        (through, years): (&'static str, u32),
        (value, unit): (f64, &'static str),
        runs: usize,
    ) {
        eprintln!("  {work}  {years:>2} years  {through:<18} {what:<42} {value:>12.3} {unit}");
        self.0.push(Figure {
            work,
            what,
            through,
            years,
            value,
            unit,
            runs,
        });
    }

    /// A figure that was noted.
    pub fn value(&self, what: &str, through: &str, years: u32) -> Option<f64> {
        self.0
            .iter()
            .find(|f| f.what == what && f.through == through && f.years == years)
            .map(|f| f.value)
    }

    /// How fast a figure grows over years of history: the exponent of a power law through those
    /// with at least one year, by least squares on logarithms.
    pub fn exponent(&self, what: &str, through: &str) -> Option<f64> {
        let points: Vec<(f64, f64)> = self
            .0
            .iter()
            .filter(|f| f.what == what && f.through == through && f.years > 0 && f.value > 0.0)
            .map(|f| (f64::from(f.years).ln(), f.value.ln()))
            .collect();
        if points.len() < 2 {
            return None;
        }
        let n = points.len() as f64;
        let (mx, my) = points
            .iter()
            .fold((0.0, 0.0), |(x, y), p| (x + p.0 / n, y + p.1 / n));
        let above: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
        let below: f64 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
        Some(above / below)
    }
}

/// The median of several.
pub fn median(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    match all.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => all[n / 2],
        n => f64::midpoint(all[n / 2 - 1], all[n / 2]),
    }
}

/// Milliseconds.
pub fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// How long something took, in milliseconds, and what came of it.
pub fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let done = work();
    (ms(begun.elapsed()), done)
}
