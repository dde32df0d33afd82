//! How numbers, days and words of records read on paper.

use chrono::NaiveDate;

use crate::record::Lot;
use crate::trade::label::egg_name;
use crate::trade::{LOCAL_CODES_DECIDE, Species};

/// Stands under every page that counts: a record, not a judgement.
pub(super) const COUNTS_ONLY: &str =
    "This sheet counts and reminds. Local codes, product labels and veterinarians decide.";

/// The line of law under lists that touch what is sold.
pub(super) const CODES: &str = LOCAL_CODES_DECIDE;

/// `Wednesday 25 November 2026`.
pub(super) fn long_day(day: NaiveDate) -> String {
    day.format("%A %-d %B %Y").to_string()
}

/// `1 egg`, `12 eggs`.
pub(super) fn eggs(n: i64) -> String {
    counted(n, "egg")
}

/// A count with its noun.
pub(super) fn counted(n: i64, noun: &str) -> String {
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// A word of a record as people read it.
pub(super) fn plain(word: &str) -> String {
    word.replace('_', " ")
}

/// `Hen eggs`.
pub(super) fn of_species(species: Species) -> &'static str {
    egg_name(species)
}

/// A share in hundredths with one decimal.
pub(super) fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// Lots with their eggs, in one line.
pub(super) fn lots<'a>(lots: impl Iterator<Item = (&'a Lot, i64)>) -> String {
    lots.map(|(lot, n)| format!("{} ({n})", lot.code()))
        .collect::<Vec<_>>()
        .join(", ")
}
