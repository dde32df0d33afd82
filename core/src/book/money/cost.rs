use std::collections::BTreeMap;

use serde::Serialize;

use super::Amount;
use crate::record::{Body, Record};

/// What was spent on something.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Spent {
    /// What was paid, as far as it was logged.
    pub cost: Amount,
    /// Records.
    pub records: u32,
    /// Of these, records without a cost: unknown, not zero.
    pub without_cost: u32,
}

/// What eggs cost over a span of days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Costs {
    /// Feed.
    pub feed: Spent,
    /// How much feed, kg.
    pub feed_kg: f64,
    /// Supplies, by item.
    pub supplies: BTreeMap<String, Spent>,
    /// Eggs gathered on these days.
    pub gathered: u64,
    /// Flock-days without a gather: their eggs are not known, so the figures per dozen are too high.
    pub unknown_flock_days: u32,
    /// Feed for a dozen eggs gathered, kg; nothing without eggs or feed.
    pub feed_kg_per_dozen: Option<f64>,
    /// What the feed for a dozen cost, rounded; at least, where a cost is missing.
    pub feed_per_dozen: Option<Amount>,
    /// What the supplies for a dozen cost, likewise.
    pub supplies_per_dozen: Option<Amount>,
    /// Whether every cost was logged; if not, the sums are the least that was spent.
    pub complete: bool,
}

impl Spent {
    fn count(&mut self, cost: Option<&str>) {
        self.records += 1;
        match cost.and_then(|cost| cost.parse::<Amount>().ok()) {
            Some(cost) => self.cost += cost,
            None => self.without_cost += 1,
        }
    }
}

/// Adds up feed and supplies against the eggs gathered. Feed counts on the day on which it was
/// logged, so a short span says little: a sack lasts longer.
pub fn costs(records: &[Record], gathered: u64, unknown_flock_days: u32) -> Costs {
    let mut feed = Spent::default();
    let mut grams = 0i64;
    let mut supplies: BTreeMap<String, Spent> = BTreeMap::new();
    for record in records {
        match &record.body {
            Body::Feed(body) => {
                feed.count(body.cost.as_deref());
                grams += (body.kg * 1000.0).round() as i64;
            }
            // A brush that was replaced and cloths that were laundered need not have cost anything.
            Body::Supply(body) => {
                let work = matches!(body.item.as_str(), "brush_replaced" | "cloths_laundered");
                if body.cost.is_some() || !work {
                    let item = supplies.entry(body.item.clone()).or_default();
                    item.count(body.cost.as_deref());
                }
            }
            _ => {}
        }
    }
    let feed_kg = grams as f64 / 1000.0;
    let paid: Amount = supplies.values().map(|s| s.cost).sum();
    let known = |spent: &Spent| spent.records > spent.without_cost;
    Costs {
        feed_kg_per_dozen: (grams > 0)
            .then(|| crate::trade::rates::feed_per_dozen(feed_kg, gathered).ok())
            .flatten(),
        feed_per_dozen: known(&feed)
            .then(|| feed.cost.share(12, gathered))
            .flatten(),
        supplies_per_dozen: supplies
            .values()
            .any(known)
            .then(|| paid.share(12, gathered))
            .flatten(),
        complete: feed.without_cost == 0 && supplies.values().all(|s| s.without_cost == 0),
        feed,
        feed_kg,
        supplies,
        gathered,
        unknown_flock_days,
    }
}
