//! What was measured.

use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

/// One figure.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    /// Which work: the letter of the list in the README.
    pub work: String,
    /// What of it was measured.
    pub what: String,
    /// Through what.
    pub through: String,
    /// Years of history that were there.
    pub years: u32,
    /// The figure, a median where there were several runs.
    pub value: f64,
    /// The least of the runs, where there were several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least: Option<f64>,
    /// Its unit.
    pub unit: String,
    /// How many runs stand behind it.
    pub runs: usize,
}

/// What a program in another language measured.
#[derive(Debug, Clone, Deserialize)]
pub struct Told {
    work: String,
    what: String,
    through: String,
    unit: String,
    /// Of each run.
    values: Vec<f64>,
}

/// All figures of a run.
#[derive(Debug, Default)]
pub struct Figures(pub Vec<Figure>);

impl Figures {
    /// Notes a figure, and says it on standard error as it comes.
    pub fn note(
        &mut self,
        (work, what): (&str, &str),
        (through, years): (&str, u32),
        (value, unit): (f64, &str),
        runs: usize,
    ) {
        self.keep(Figure {
            work: work.into(),
            what: what.into(),
            through: through.into(),
            years,
            value,
            least: None,
            unit: unit.into(),
            runs,
        });
    }

    /// Notes the median of several runs, and the least of them.
    pub fn median(
        &mut self,
        (work, what): (&str, &str),
        (through, years): (&str, u32),
        all: Vec<f64>,
        unit: &str,
    ) {
        self.keep(Figure {
            work: work.into(),
            what: what.into(),
            through: through.into(),
            years,
            least: Some(all.iter().copied().fold(f64::INFINITY, f64::min)),
            runs: all.len(),
            value: median(all),
            unit: unit.into(),
        });
    }

    /// Notes what a program in another language measured.
    pub fn told(&mut self, told: Told, years: u32) {
        let Told {
            work,
            what,
            through,
            unit,
            values,
        } = told;
        self.median(
            (work.as_str(), what.as_str()),
            (through.as_str(), years),
            values,
            &unit,
        );
    }

    fn keep(&mut self, figure: Figure) {
        let Figure {
            work,
            what,
            through,
            years,
            value,
            unit,
            ..
        } = &figure;
        eprintln!("  {work}  {years:>2} years  {through:<22} {what:<42} {value:>14.3} {unit}");
        self.0.push(figure);
    }

    /// A figure that was noted.
    pub fn value(&self, what: &str, through: &str, years: u32) -> Option<f64> {
        self.0
            .iter()
            .find(|f| f.what == what && f.through == through && f.years == years)
            .map(|f| f.value)
    }

    /// The figures of one piece of work through one thing, over the years.
    pub fn over_years(&self, what: &str, through: &str) -> Vec<(f64, f64)> {
        self.0
            .iter()
            .filter(|f| f.what == what && f.through == through)
            .map(|f| (f64::from(f.years), f.value))
            .collect()
    }
}

/// The exponent of a power law through points, by least squares on logarithms; points at nothing are
/// left out.
pub fn exponent(points: &[(f64, f64)]) -> Option<f64> {
    let points: Vec<(f64, f64)> = points
        .iter()
        .filter(|(x, y)| *x > 0.0 && *y > 0.0)
        .map(|(x, y)| (x.ln(), y.ln()))
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

/// The median of several.
pub fn median(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    match all.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => all[n / 2],
        n => f64::midpoint(all[n / 2 - 1], all[n / 2]),
    }
}

/// How long something took, in milliseconds, and what came of it.
pub fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let done = work();
    (ms(begun.elapsed()), done)
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_law_has_the_exponent_two_and_a_flat_one_nothing() {
        let square = [(0.0, 7.0), (1.0, 3.0), (2.0, 12.0), (10.0, 300.0)];
        assert!(exponent(&square).is_some_and(|e| (e - 2.0).abs() < 1e-9));
        assert!(exponent(&[(1.0, 5.0), (20.0, 5.0)]).is_some_and(|e| e.abs() < 1e-9));
        assert!(exponent(&[(1.0, 5.0)]).is_none());
    }

    #[test]
    fn the_median_of_an_even_number_lies_between_the_middle_two() {
        assert!((median(vec![9.0, 1.0, 4.0, 2.0]) - 3.0).abs() < 1e-9);
    }
}
