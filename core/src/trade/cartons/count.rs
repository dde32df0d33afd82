use serde::Serialize;

use super::types::{Capacities, CartonError};

/// The most eggs that one plan takes.
pub(super) const MOST_EGGS: usize = 100_000;

/// Cartons for a count of eggs nobody weighed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CountPlan {
    /// Carton size and how many of it, the largest first; only sizes that are used.
    pub cartons: Vec<(u16, usize)>,
    /// Eggs that fill no carton.
    pub left_over: usize,
    /// The plan in words.
    pub why: String,
}

/// The fewest cartons for each count of eggs: exact change, in cartons.
pub(super) struct Exact {
    /// Cartons for this many eggs, and the size of one of them; `None` if it cannot be.
    by_count: Vec<Option<(usize, u16)>>,
}

impl Exact {
    pub(super) fn up_to(count: usize, capacities: &Capacities) -> Exact {
        let mut by_count = vec![Some((0, 0))];
        for eggs in 1..=count {
            // The largest size comes first and a tie keeps it, so equal counts prefer large cartons.
            let mut best: Option<(usize, u16)> = None;
            for &size in capacities.sizes() {
                let before = eggs
                    .checked_sub(usize::from(size))
                    .and_then(|i| by_count[i]);
                if let Some((cartons, _)) = before
                    && best.is_none_or(|(fewest, _)| cartons + 1 < fewest)
                {
                    best = Some((cartons + 1, size));
                }
            }
            by_count.push(best);
        }
        Exact { by_count }
    }

    /// The fewest cartons that hold just this many eggs.
    pub(super) fn fewest(&self, eggs: usize) -> Option<usize> {
        self.by_count[eggs].map(|(cartons, _)| cartons)
    }

    /// The most eggs, up to this many, that fill cartons without a rest.
    pub(super) fn most(&self, eggs: usize) -> usize {
        (0..=eggs)
            .rev()
            .find(|&i| self.by_count[i].is_some())
            .unwrap_or(0)
    }

    /// The sizes of the fewest cartons for this many eggs, the largest first.
    pub(super) fn sizes(&self, mut eggs: usize) -> Vec<u16> {
        let mut sizes = Vec::new();
        while eggs > 0
            && let Some((_, size)) = self.by_count[eggs]
        {
            sizes.push(size);
            eggs -= usize::from(size);
        }
        sizes.sort_unstable_by(|a, b| b.cmp(a));
        sizes
    }
}

/// Cartons for `count` eggs: the fewest eggs left over, then the fewest cartons; of equals, the one
/// with the largest cartons.
///
/// ```
/// use pointdown_core::trade::cartons::{Capacities, plan_count};
///
/// let plan = plan_count(101, &Capacities::new(&[6, 12, 18])?)?;
/// assert_eq!(plan.cartons, [(18, 5), (6, 1)]);
/// assert_eq!(plan.left_over, 5);
/// # Ok::<(), pointdown_core::trade::cartons::CartonError>(())
/// ```
///
/// # Errors
/// [`CartonError::TooMany`] beyond 100,000 eggs.
pub fn plan_count(count: usize, capacities: &Capacities) -> Result<CountPlan, CartonError> {
    if count > MOST_EGGS {
        return Err(CartonError::TooMany {
            value: count,
            allowed: MOST_EGGS,
        });
    }
    let exact = Exact::up_to(count, capacities);
    let packed = exact.most(count);
    let mut cartons: Vec<(u16, usize)> = Vec::new();
    for size in exact.sizes(packed) {
        match cartons.last_mut() {
            Some((last, many)) if *last == size => *many += 1,
            _ => cartons.push((size, 1)),
        }
    }
    let parts: Vec<String> = cartons
        .iter()
        .map(|(size, many)| format!("{many} × {size}"))
        .collect();
    let left_over = count - packed;
    let why = if packed == 0 {
        format!("{count} eggs fill no carton of the sizes at hand")
    } else {
        format!(
            "{count} eggs: {} holds {packed}, the most that fill cartons without a rest, in the \
             fewest cartons; {left_over} left over",
            parts.join(" + ")
        )
    };
    Ok(CountPlan {
        cartons,
        left_over,
        why,
    })
}
