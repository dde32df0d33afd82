//! Rates: what must hold for every input, and what simulations say.

mod alarm;
mod forecast;
mod intervals;
mod lay;

use pointdown_core::trade::rates::FlockDay;

use crate::cartons::Numbers;

/// Eggs of one day: each hen lays with a chance that changes from day to day by up to `sway`, which
/// scatters the counts more than hens that each toss the same coin.
fn eggs(numbers: &mut Numbers, hens: u32, rate: f64, sway: f64) -> u32 {
    let today = (rate + sway * (2.0 * numbers.unit() - 1.0)).clamp(0.0, 1.0);
    (0..hens).filter(|_| numbers.unit() < today).count() as u32
}

fn days(numbers: &mut Numbers, count: usize, hens: u32, rate: f64, sway: f64) -> Vec<FlockDay> {
    (0..count)
        .map(|_| FlockDay {
            hens,
            eggs: Some(eggs(numbers, hens, rate, sway)),
        })
        .collect()
}
