use serde::{Deserialize, Serialize};

use super::error::{RatesError, between};

/// Money in the currency's smallest unit, for example cents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Minor(pub i64);

fn some_eggs(eggs: u64) -> Result<f64, RatesError> {
    between("eggs", eggs as f64, 1.0, 1e12, "1 to 1000000000000")
}

fn feed(field: &'static str, kg: f64) -> Result<f64, RatesError> {
    between(field, kg, 0.0, 1e9, "0 to 1000000000 kg")
}

/// Kilograms of feed for a dozen eggs. A good figure for laying hens is up to 1.5 kg. Source:
/// national agricultural e-course on layer management.
///
/// # Errors
/// [`RatesError::Number`] for no eggs, or feed that is negative or not a number.
pub fn feed_per_dozen(feed_kg: f64, eggs: u64) -> Result<f64, RatesError> {
    Ok(feed("feed_kg", feed_kg)? * 12.0 / some_eggs(eggs)?)
}

/// Kilograms of feed for a kilogram of eggs of this mean weight. A good figure for laying hens is up
/// to 2.2. Source: same.
///
/// # Errors
/// As for [`feed_per_dozen`], and for a mean weight outside 1 to 1000 g.
pub fn feed_per_kg_of_eggs(feed_kg: f64, eggs: u64, mean_g: f64) -> Result<f64, RatesError> {
    let mean_g = between("mean_g", mean_g, 1.0, 1000.0, "1 to 1000 g")?;
    Ok(feed("feed_kg", feed_kg)? / (some_eggs(eggs)? * mean_g / 1000.0))
}

/// The cost of a dozen eggs, rounded to the smallest unit, halves away from zero. Whole numbers all
/// the way: no cent is lost to binary fractions.
///
/// # Errors
/// [`RatesError::Number`] for no eggs, or a cost below 0.
pub fn cost_per_dozen(cost: Minor, eggs: u64) -> Result<Minor, RatesError> {
    some_eggs(eggs)?;
    between("cost", cost.0 as f64, 0.0, 1e15, "0 to 1000000000000000")?;
    let (twelve_costs, eggs) = (i128::from(cost.0) * 12, i128::from(eggs));
    Ok(Minor(((2 * twelve_costs + eggs) / (2 * eggs)) as i64))
}
