use chrono::{Datelike, Days, NaiveDate};
use serde::Serialize;

use crate::record::{Id, Outlet};
use crate::trade::Species;
use crate::trade::rates::{Ahead, FlockDay, Forecast, Order, RatesError, forecast};

/// The words of the days of the week, as standing orders name them.
pub const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// Cartons that an outlet expects on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// The outlet.
    pub outlet: Id,
    /// Its name.
    pub name: String,
    /// The farm day.
    pub day: NaiveDate,
    /// Whose eggs.
    pub species: Species,
    /// Cartons.
    pub cartons: u32,
    /// Eggs in each.
    pub eggs_per_carton: u32,
}

/// What standing orders are held against, for one species.
#[derive(Debug, Clone)]
pub struct OrderInput {
    /// Whose eggs.
    pub species: Species,
    /// The orders of the days ahead.
    pub standing: Vec<Standing>,
    /// Past days of all flocks of the species together, the latest last; a day that is not known
    /// whole is unknown.
    pub past: Vec<FlockDay>,
    /// Birds now.
    pub birds: u32,
    /// The share of eggs that was not pulled on the past days.
    pub sellable: f64,
    /// Eggs in hand that may be sold: none that are held.
    pub on_hand: u64,
    /// The first day whose eggs are still to be laid; orders may be due before.
    pub first: NaiveDate,
    /// How many days ahead.
    pub days: u32,
}

/// Standing orders against the forecast.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Orders {
    /// Whose eggs.
    pub species: Species,
    /// The orders, the earliest first.
    pub standing: Vec<Standing>,
    /// Eggs in hand that may be sold.
    pub on_hand: u64,
    /// Whether they are enough for the orders that are due before the forecast begins.
    pub enough_now: bool,
    /// Day 1 of the forecast.
    pub first: NaiveDate,
    /// The next days; nothing where too little is known.
    pub forecast: Option<Forecast>,
    /// Why there is no forecast.
    pub why_not: Option<String>,
}

/// The standing orders of an outlet on a span of days.
pub fn due_orders(id: Id, outlet: &Outlet, first: NaiveDate, days: u32) -> Vec<Standing> {
    let mut all = Vec::new();
    let Some(week) = &outlet.standing_order else {
        return all;
    };
    for n in 0..u64::from(days) {
        let Some(day) = first.checked_add_days(Days::new(n)) else {
            break;
        };
        let word = WEEKDAYS[day.weekday().num_days_from_monday() as usize];
        let cartons = week.get(word).copied().unwrap_or(0);
        if cartons > 0 && outlet.retired.is_none_or(|last| day <= last) {
            all.push(Standing {
                outlet: id,
                name: outlet.name.clone(),
                day,
                species: outlet.order_species.unwrap_or(Species::Hen),
                cartons,
                eggs_per_carton: outlet.order_eggs_per_carton.unwrap_or(12),
            });
        }
    }
    all
}

/// Holds the orders against what the birds will lay, as far as that can be said.
pub fn orders(input: &OrderInput) -> Orders {
    let mut standing = input.standing.clone();
    standing.sort_by(|a, b| (a.day, &a.name).cmp(&(b.day, &b.name)));
    // What is due before the first day ahead is taken from what is in hand.
    let (now, later): (Vec<&Standing>, Vec<&Standing>) =
        standing.iter().partition(|order| order.day < input.first);
    let due_now: u64 = now
        .iter()
        .map(|order| u64::from(order.cartons) * u64::from(order.eggs_per_carton))
        .sum();
    let ahead = Ahead {
        hens: vec![input.birds; input.days as usize],
        sellable: input.sellable,
        on_hand: input.on_hand.saturating_sub(due_now),
        capacity: 12,
        orders: later
            .iter()
            .map(|order| Order {
                day: u32::try_from((order.day - input.first).num_days()).unwrap_or(0) + 1,
                cartons: order.cartons,
                capacity: u16::try_from(order.eggs_per_carton).unwrap_or(u16::MAX),
            })
            .collect(),
        chance: 0.9,
    };
    let found: Result<Forecast, RatesError> = forecast(&input.past, &ahead);
    let (forecast, why_not) = match found {
        Ok(forecast) => (Some(forecast), None),
        Err(e) => (None, Some(e.to_string())),
    };
    Orders {
        species: input.species,
        standing,
        on_hand: input.on_hand,
        enough_now: due_now <= input.on_hand,
        first: input.first,
        forecast,
        why_not,
    }
}
