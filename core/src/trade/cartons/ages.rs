//! Eggs of nearly the same age: spans of lay days that are packed each by itself.

use chrono::NaiveDate;

use super::count::Exact;
use super::types::{Capacities, Egg};

/// A span's first and last lay day, if ages are kept together, and its eggs.
pub(super) type Span<'a> = (Option<(NaiveDate, NaiveDate)>, Vec<&'a Egg>);

/// Eggs divided into spans of neighbouring lay days no more than `apart` days from first to last:
/// of all ways one that leaves the fewest eggs over by count, then has the fewest cartons, then the
/// fewest spans. Without `apart` they stay together. Every egg must have a lay day if it is set.
pub(super) fn spans<'a>(
    mut eggs: Vec<&'a Egg>,
    capacities: &Capacities,
    apart: Option<u32>,
) -> Vec<Span<'a>> {
    let Some(apart) = apart else {
        return vec![(None, eggs)];
    };
    eggs.sort_by_key(|egg| egg.lay_day);
    let days: Vec<(NaiveDate, &[&Egg])> = eggs
        .chunk_by(|a, b| a.lay_day == b.lay_day)
        .filter_map(|of_day| Some((of_day[0].lay_day?, of_day)))
        .collect();
    let exact = Exact::up_to(eggs.len(), capacities);
    // The best division of the first days: eggs over, cartons, spans, and where its last one begins.
    let mut best = vec![(0, 0, 0, 0)];
    for (end, &(last, _)) in (1..).zip(&days) {
        let (mut count, mut found) = (0, None);
        for from in (0..end).rev() {
            let (first, of_day) = days[from];
            if (last - first).num_days() > i64::from(apart) {
                break;
            }
            count += of_day.len();
            let packed = exact.most(count);
            let (over, cartons, spans, _) = best[from];
            let cartons = cartons + exact.fewest(packed).unwrap_or(0);
            let here = (over + count - packed, cartons, spans + 1, from);
            if found.is_none_or(|other| here < other) {
                found = Some(here);
            }
        }
        best.extend(found);
    }
    let (mut end, mut spans) = (days.len(), Vec::new());
    while end > 0 {
        let from = best[end].3;
        let eggs = days[from..end].iter().flat_map(|(_, eggs)| *eggs);
        let laid = (days[from].0, days[end - 1].0);
        spans.push((Some(laid), eggs.copied().collect()));
        end = from;
    }
    spans.reverse();
    spans
}
