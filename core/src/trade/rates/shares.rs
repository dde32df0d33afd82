use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::compare::{Comparison, compare_with_the_rest};
use super::error::RatesError;
use super::interval::{Interval, Proportion};

/// Eggs gathered at a coop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gathered {
    /// The coop.
    pub coop: String,
    /// Eggs; several entries of one coop add up.
    pub eggs: u64,
}

/// Eggs pulled for a reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cull {
    /// The coop they came from.
    pub coop: String,
    /// Why; the word of a defect or one's own.
    pub reason: String,
    /// Eggs; several entries of one coop and reason add up.
    pub eggs: u64,
}

/// Eggs lost for one reason, coop by coop.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CullShare {
    /// The reason.
    pub reason: String,
    /// Of all coops together.
    pub total: Proportion,
    /// The Wilson interval of that share.
    pub interval: Interval,
    /// Each coop's share and interval, by name; coops without a loss are there too.
    pub coops: Vec<(String, Proportion, Interval)>,
    /// Each coop against the others. The level holds for all comparisons of one reason together.
    pub comparisons: Vec<Comparison>,
}

/// Culls as shares of the eggs gathered, by reason and coop, the most frequent reason first.
///
/// # Errors
/// [`RatesError::Coop`] for culls at a coop that gathered nothing, [`RatesError::Share`] for more
/// culls of one reason than eggs, [`RatesError::Number`] for a confidence not between 0 and 1.
pub fn cull_shares(
    gathered: &[Gathered],
    culls: &[Cull],
    confidence: f64,
) -> Result<Vec<CullShare>, RatesError> {
    let mut eggs: BTreeMap<&str, u64> = BTreeMap::new();
    for entry in gathered.iter().filter(|entry| entry.eggs > 0) {
        *eggs.entry(&entry.coop).or_default() += entry.eggs;
    }
    let mut lost: BTreeMap<&str, BTreeMap<&str, u64>> = BTreeMap::new();
    for cull in culls {
        if !eggs.contains_key(cull.coop.as_str()) {
            return Err(RatesError::Coop {
                value: cull.coop.clone(),
            });
        }
        *lost
            .entry(&cull.reason)
            .or_default()
            .entry(&cull.coop)
            .or_default() += cull.eggs;
    }
    let mut rows = Vec::with_capacity(lost.len());
    for (reason, by_coop) in lost {
        let shares: Vec<(String, Proportion)> = eggs
            .iter()
            .map(|(coop, &of)| {
                let events = by_coop.get(coop).copied().unwrap_or(0);
                Ok(((*coop).to_owned(), Proportion::new(events, of)?))
            })
            .collect::<Result<_, RatesError>>()?;
        let total = Proportion::new(by_coop.values().sum(), eggs.values().sum())?;
        let coops = shares
            .iter()
            .map(|(coop, share)| Ok((coop.clone(), *share, share.wilson(confidence)?)))
            .collect::<Result<_, RatesError>>()?;
        rows.push(CullShare {
            reason: reason.to_owned(),
            total,
            interval: total.wilson(confidence)?,
            coops,
            comparisons: compare_with_the_rest(&shares, 1.0 - confidence)?,
        });
    }
    rows.sort_by(|a, b| {
        b.total
            .events
            .cmp(&a.total.events)
            .then(a.reason.cmp(&b.reason))
    });
    Ok(rows)
}
