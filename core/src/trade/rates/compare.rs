use serde::Serialize;

use super::distribution::ln_choose;
use super::error::{RatesError, probability};
use super::interval::{Interval, Proportion};
use crate::trade::finding::{FLOCK_CAUTION, Finding, Mark, Reason};

/// Whether two shares differ by more than luck.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// What is compared, for example a coop.
    pub name: String,
    /// Its share.
    pub here: Proportion,
    /// The share it is held against.
    pub there: Proportion,
    /// The first share less the second.
    pub difference: f64,
    /// A 95 % interval for the difference, from the two Wilson intervals. Source: Statistics in
    /// Medicine 17:873–890 (1998), method 10.
    pub interval: Interval,
    /// The chance of so great a difference, or a greater one, if there is none; Fisher's exact test,
    /// two-sided, corrected for the number of comparisons.
    pub p_value: f64,
    /// Whether the chance is under the level asked for.
    pub more_than_luck: bool,
    /// The comparison in words.
    pub why: String,
}

impl Comparison {
    /// Whether the difference is more than luck, with the test behind it and the usual caution.
    pub fn finding(&self) -> Finding<bool> {
        let source = "Fisher's exact test, two-sided; Scandinavian Journal of Statistics 6:65–70 \
                      (1979) for several comparisons";
        let why = Reason::new(self.why.clone(), source, Mark::Memory);
        Finding::new(self.more_than_luck, why, FLOCK_CAUTION)
    }
}

/// The two-sided p-value of Fisher's exact test: the chance, with the sums of the 2×2 table fixed, of
/// all tables no more likely than this one.
pub fn fisher_two_sided(a: Proportion, b: Proportion) -> f64 {
    let events = a.events + b.events;
    let ln = |x: u64| ln_choose(a.of, x) + ln_choose(b.of, events - x);
    let (low, high) = (events.saturating_sub(b.of), events.min(a.of));
    let base = ln_choose(a.of + b.of, events);
    // Tables as likely as ours but for rounding count as such.
    let ours = ln(a.events) + 1e-7;
    let sum: f64 = (low..=high)
        .map(ln)
        .filter(|&l| l <= ours)
        .map(|l| (l - base).exp())
        .sum();
    sum.min(1.0)
}

/// Holm's correction: p-values that keep the chance of even one false call under the level, however
/// the comparisons hang together. Source: Scandinavian Journal of Statistics 6:65–70 (1979).
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|&a, &b| p_values[a].total_cmp(&p_values[b]));
    let mut corrected = vec![0.0; p_values.len()];
    let mut so_far = 0.0_f64;
    for (rank, i) in order.into_iter().enumerate() {
        so_far = so_far
            .max(p_values[i] * (p_values.len() - rank) as f64)
            .min(1.0);
        corrected[i] = so_far;
    }
    corrected
}

/// Two shares held against each other.
///
/// # Errors
/// [`RatesError::Number`] for a level that is not between 0 and 1.
pub fn compare(
    name: &str,
    here: Proportion,
    there: Proportion,
    level: f64,
) -> Result<Comparison, RatesError> {
    judge(name, here, there, fisher_two_sided(here, there), level, 1)
}

/// Each of several shares held against all the others together, corrected by [`holm`]. A single one
/// has nothing to be held against and gives no comparison.
///
/// # Errors
/// As for [`compare`].
pub fn compare_with_the_rest(
    shares: &[(String, Proportion)],
    level: f64,
) -> Result<Vec<Comparison>, RatesError> {
    if shares.len() < 2 {
        return Ok(Vec::new());
    }
    let events: u64 = shares.iter().map(|(_, share)| share.events).sum();
    let of: u64 = shares.iter().map(|(_, share)| share.of).sum();
    let pairs: Vec<(Proportion, Proportion)> = shares
        .iter()
        .map(|&(_, here)| {
            Proportion::new(events - here.events, of - here.of).map(|rest| (here, rest))
        })
        .collect::<Result<_, _>>()?;
    // Two coops make one comparison, seen from both sides.
    let many = if shares.len() == 2 { 1 } else { shares.len() };
    let raw: Vec<f64> = pairs
        .iter()
        .map(|&(here, rest)| fisher_two_sided(here, rest))
        .collect();
    let corrected = if many == 1 { raw } else { holm(&raw) };
    let rows = shares.iter().zip(pairs).zip(corrected);
    rows.map(|(((name, _), (here, rest)), p)| judge(name, here, rest, p, level, many))
        .collect()
}

fn judge(
    name: &str,
    here: Proportion,
    there: Proportion,
    p_value: f64,
    level: f64,
    comparisons: usize,
) -> Result<Comparison, RatesError> {
    let level = probability("level", level)?;
    let (a, b) = (here.wilson(0.95)?, there.wilson(0.95)?);
    let difference = here.share() - there.share();
    let interval = Interval {
        low: difference - (here.share() - a.low).hypot(b.high - there.share()),
        high: difference + (a.high - here.share()).hypot(there.share() - b.low),
    };
    let more_than_luck = p_value < level;
    let corrected = match comparisons {
        1 => String::new(),
        n => format!(", corrected for {n} comparisons"),
    };
    let verdict = match more_than_luck {
        true if difference > 0.0 => "higher, and by more than luck explains",
        true => "lower, and by more than luck explains",
        false => "luck may explain the difference",
    };
    let why = format!(
        "{name}: {} of {} ({:.1} %) against {} of {} ({:.1} %): {verdict} (p = {p_value:.4}{corrected})",
        here.events,
        here.of,
        100.0 * here.share(),
        there.events,
        there.of,
        100.0 * there.share(),
    );
    Ok(Comparison {
        name: name.to_owned(),
        here,
        there,
        difference,
        interval,
        p_value,
        more_than_luck,
        why,
    })
}
