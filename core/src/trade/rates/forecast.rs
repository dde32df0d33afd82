use serde::{Deserialize, Serialize};

use super::baseline::{Baseline, FlockDay};
use super::error::{RatesError, between, probability};
use crate::trade::finding::{FORECAST_CAUTION, Finding, Mark, Reason};

/// What is asked of a forecast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ahead {
    /// The hens of each day to come, tomorrow's or today's first.
    pub hens: Vec<u32>,
    /// The share of eggs that usually survives culling.
    pub sellable: f64,
    /// Sellable eggs in hand, fresh enough for the days ahead.
    pub on_hand: u64,
    /// Eggs per carton, for the number of cartons.
    pub capacity: u16,
    /// Standing orders.
    pub orders: Vec<Order>,
    /// How sure the ranges and promises are to be, for example 0.9.
    pub chance: f64,
}

/// Cartons promised for a day to come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// The day it is due: 1 for the first day of the forecast, whose eggs may still go into it.
    pub day: u32,
    /// Cartons.
    pub cartons: u32,
    /// Eggs per carton.
    pub capacity: u16,
}

/// Eggs and cartons from now to the end of a day to come.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ForecastDay {
    /// The day, from 1.
    pub day: u32,
    /// Eggs laid up to then: the expected number.
    pub eggs: f64,
    /// The prediction range of that number.
    pub eggs_range: (u64, u64),
    /// Full cartons of the size asked for, from what is on hand and the sellable of what is laid,
    /// before any order leaves: the prediction range.
    pub cartons_range: (u64, u64),
}

/// Whether the orders up to a day can be met.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrderChance {
    /// The day the orders are due.
    pub day: u32,
    /// Eggs that all orders up to then take.
    pub needed: u64,
    /// The chance that so many sellable eggs are there.
    pub chance: f64,
    /// Sellable eggs there will be with the chance asked for, at least.
    pub at_least: u64,
    /// Whether that chance is at least the one asked for.
    pub promised: bool,
    /// The chance in words.
    pub why: String,
}

impl OrderChance {
    /// Whether the orders can be promised, with the reason and the usual caution.
    pub fn finding(&self) -> Finding<bool> {
        let source = "quasi-Poisson prediction from the farm's own counts, Biometrika 61:439–447 \
                      (1974)";
        let why = Reason::new(self.why.clone(), source, Mark::Memory);
        Finding::new(self.promised, why, FORECAST_CAUTION)
    }
}

/// The next days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Forecast {
    /// What it builds on.
    pub baseline: Baseline,
    /// Day by day, each from now to its end.
    pub days: Vec<ForecastDay>,
    /// Each day on which an order is due.
    pub orders: Vec<OrderChance>,
    /// A lower bound for the chance that all orders are met: one less the sum of the single
    /// failures.
    pub all_orders_chance: f64,
}

/// The most days ahead.
const MOST_DAYS: f64 = 60.0;

/// A forecast from past days, the latest last.
///
/// The rate is weighted towards the latest days with a half-life of 14 days. The range counts the
/// scatter of days and the doubt about the rate (see [`Baseline::eggs_of`]); it takes days as
/// independent and the rate as steady from now on, so it is too narrow through a moult or an
/// illness.
///
/// # Errors
/// As for [`Baseline::from_days`]; [`RatesError::Number`] for a share outside 0 to 1, a chance not
/// between 0 and 1, a carton of no eggs, more than 60 days, or an order due outside them.
pub fn forecast(past: &[FlockDay], ahead: &Ahead) -> Result<Forecast, RatesError> {
    let Ahead {
        hens,
        sellable,
        on_hand,
        capacity,
        orders,
        chance,
    } = ahead;
    let (sellable, on_hand, capacity) = (*sellable, *on_hand, *capacity);
    let chance = probability("chance", *chance)?;
    between("sellable", sellable, 0.0, 1.0, "0 to 1")?;
    between("capacity", f64::from(capacity), 1.0, 360.0, "1 to 360 eggs")?;
    between(
        "days of hens",
        hens.len() as f64,
        1.0,
        MOST_DAYS,
        "1 to 60 days",
    )?;
    for order in orders {
        between(
            "day of an order",
            f64::from(order.day),
            1.0,
            hens.len() as f64,
            "a day ahead",
        )?;
    }
    let baseline = Baseline::from_days(past, Some(14.0))?;
    let mut hen_days = 0.0;
    let (mut days, mut chances) = (Vec::new(), Vec::new());
    for (day, &hens) in (1_u32..).zip(hens) {
        hen_days += f64::from(hens);
        let laid = baseline.eggs_of(hen_days)?;
        let kept = baseline.counts(hen_days, sellable)?;
        let (low, high) = kept.range(chance);
        let cartons = |eggs: u64| (on_hand + eggs) / u64::from(capacity);
        days.push(ForecastDay {
            day,
            eggs: laid.mean(),
            eggs_range: laid.range(chance),
            cartons_range: (cartons(low), cartons(high)),
        });
        if orders.iter().any(|order| order.day == day) {
            let needed = orders
                .iter()
                .filter(|order| order.day <= day)
                .map(|order| u64::from(order.cartons) * u64::from(order.capacity))
                .sum();
            let met = kept.at_least(u64::saturating_sub(needed, on_hand));
            let at_least = on_hand + kept.quantile(1.0 - chance);
            let promised = met >= chance;
            let word = if promised {
                "can be promised"
            } else {
                "may fall short"
            };
            chances.push(OrderChance {
                day,
                needed,
                chance: met,
                at_least,
                promised,
                why: format!(
                    "{needed} eggs due by day {day}: {word}; chance {:.0} %, and {at_least} eggs or \
                     more with a chance of {:.0} %",
                    100.0 * met,
                    100.0 * chance
                ),
            });
        }
    }
    let failures: f64 = chances.iter().map(|order| 1.0 - order.chance).sum();
    Ok(Forecast {
        baseline,
        days,
        orders: chances,
        all_orders_chance: (1.0 - failures).max(0.0),
    })
}
