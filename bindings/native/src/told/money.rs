use pointdown_core::book::money;
use pointdown_core::trade::rates;

use super::Species;
use crate::mirror::{Mirror, mirror_record};

mirror_record! {
    /// What came in over a span of farm days, and from whom. Amounts are exact text such as `4.50`, in
    /// the farm's one currency; what is divided is rounded once, at the end. No accounting, no taxes.
    Takings of money::Takings {
        /// First farm day.
        first = from: String,
        /// Last farm day.
        last = to: String,
        /// The farm's currency, such as `EUR`; nothing where it named none.
        currency: Option<String>,
        /// All of it.
        all: Taken,
        /// By outlet or person.
        by_outlet: Vec<TakenFrom>,
        /// What a carton went for, by species, eggs in it and size.
        cartons: Vec<CartonPrice>,
    }
}

/// What came in from one outlet or person.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct TakenFrom {
    /// Its name; nothing for what went to nobody in particular.
    pub who: Option<String>,
    /// What left, and what came in for it.
    pub taken: Taken,
}

impl Mirror<TakenFrom> for (Option<String>, money::Taken) {
    fn mirror(self) -> TakenFrom {
        TakenFrom {
            who: self.0,
            taken: self.1.mirror(),
        }
    }
}

mirror_record! {
    /// What left, and what came in for it. A missing price is unknown, not zero: while
    /// `sales_without_price` is not 0, `taken` is the least that came in.
    Taken of money::Taken {
        /// What was paid for what was sold, as far as prices were logged.
        taken: String,
        /// What was paid back for what was returned.
        paid_back: String,
        /// Sales.
        sales: u32,
        /// Of these, sales without a price.
        sales_without_price: u32,
        /// Eggs sold.
        sold: i64,
        /// Of these, eggs without a price.
        sold_without_price: i64,
        /// Cartons sold.
        cartons: i64,
        /// Eggs given away.
        given: i64,
        /// Eggs eaten at home.
        eaten: i64,
        /// Eggs that came back.
        returned: i64,
        /// The mean price of a dozen over the eggs with a price, rounded.
        per_dozen: Option<String>,
    }
}

mirror_record! {
    /// What cartons of one kind went for.
    CartonPrice of money::CartonPrice {
        /// Whose eggs.
        species: Species,
        /// Eggs in each; nothing where the carton run is not here.
        eggs_per_carton: Option<u32>,
        /// Weight class.
        size: Option<String>,
        /// Cartons sold with a price.
        cartons: u64,
        /// What they brought.
        taken: String,
        /// Cartons sold without a price: not in the figures here.
        without_price: u64,
        /// The mean price of a carton, rounded.
        mean: Option<String>,
        /// The lowest price of a carton in any sale, rounded.
        lowest: Option<String>,
        /// The highest.
        highest: Option<String>,
    }
}

mirror_record! {
    /// What feed and supplies cost over a span of farm days, against the eggs gathered on them.
    Costs of money::Costs {
        /// Feed.
        feed: Spent,
        /// How much feed, kg.
        feed_kg: f64,
        /// Supplies, by item.
        supplies: std::collections::HashMap<String, Spent>,
        /// Eggs gathered on these days.
        gathered: u64,
        /// Flock-days without a gather: their eggs are not known, so the figures for a dozen are too
        /// high.
        unknown_flock_days: u32,
        /// Feed for a dozen eggs gathered, kg; nothing without eggs or feed.
        feed_kg_per_dozen: Option<f64>,
        /// What the feed for a dozen cost, rounded; at least, where a cost is missing.
        feed_per_dozen: Option<String>,
        /// What the supplies for a dozen cost, likewise.
        supplies_per_dozen: Option<String>,
        /// Whether every cost was logged; if not, the sums are the least that was spent.
        complete: bool,
    }
}

mirror_record! {
    /// What was spent on something.
    Spent of money::Spent {
        /// What was paid, as far as it was logged.
        cost: String,
        /// Records.
        records: u32,
        /// Of these, records without a cost: unknown, not zero.
        without_cost: u32,
    }
}

mirror_record! {
    /// The standing orders for the eggs of a species against the forecast.
    Orders of money::Orders {
        /// Whose eggs.
        species: Species,
        /// The orders, the earliest first.
        standing: Vec<StandingOrder>,
        /// Eggs in hand that may be sold.
        on_hand: u64,
        /// Whether they are enough for the orders that are due before the forecast begins.
        enough_now: bool,
        /// The farm day that is day 1 of the forecast.
        first: String,
        /// The next days; nothing where too little is known.
        forecast: Option<Forecast>,
        /// Why there is no forecast.
        why_not: Option<String>,
    }
}

mirror_record! {
    /// Cartons that an outlet expects on a day.
    StandingOrder of money::Standing {
        /// The outlet's id.
        outlet: String,
        /// Its name.
        name: String,
        /// The farm day.
        day: String,
        /// Whose eggs.
        species: Species,
        /// Cartons.
        cartons: u32,
        /// Eggs in each.
        eggs_per_carton: u32,
    }
}

mirror_record! {
    /// The next days, from the farm's own past ones: an honest guess.
    Forecast of rates::Forecast {
        /// What it builds on.
        baseline: Baseline,
        /// Day by day, each from now to its end.
        days: Vec<ForecastDay>,
        /// Each day on which an order is due.
        orders: Vec<OrderChance>,
        /// A lower bound for the chance that all orders are met, 0 to 1.
        all_orders_chance: f64,
    }
}

mirror_record! {
    /// How a flock usually lays.
    Baseline of rates::Baseline {
        /// Eggs per hen and day.
        rate: f64,
        /// The variance of a day's count over its mean; 1 for Poisson counts, often less for hens.
        dispersion: f64,
        /// The variance of the rate's own estimate, over the rate squared.
        uncertainty: f64,
        /// Degrees of freedom behind the dispersion.
        freedom: f64,
    }
}

/// Eggs and cartons from now to the end of a day to come.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct ForecastDay {
    /// The day, from 1.
    pub day: u32,
    /// Eggs laid up to then: the expected number.
    pub eggs: f64,
    /// The prediction range of that number begins here.
    pub eggs_least: u64,
    /// And ends here.
    pub eggs_most: u64,
    /// Full cartons of 12 from what is on hand and the sellable of what is laid, before any order
    /// leaves: the prediction range begins here.
    pub cartons_least: u64,
    /// And ends here.
    pub cartons_most: u64,
}

impl Mirror<ForecastDay> for rates::ForecastDay {
    fn mirror(self) -> ForecastDay {
        ForecastDay {
            day: self.day,
            eggs: self.eggs,
            eggs_least: self.eggs_range.0,
            eggs_most: self.eggs_range.1,
            cartons_least: self.cartons_range.0,
            cartons_most: self.cartons_range.1,
        }
    }
}

/// Whether the orders up to a day can be met.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct OrderChance {
    /// The day of the forecast on which the orders are due.
    pub day: u32,
    /// Eggs that all orders up to then take.
    pub needed: u64,
    /// The chance that so many sellable eggs are there, 0 to 1.
    pub chance: f64,
    /// Sellable eggs there will be with a chance of nine in ten, at least.
    pub at_least: u64,
    /// Whether the chance is at least nine in ten.
    pub promised: bool,
    /// The chance in words.
    pub why: String,
    /// What a careful person would add.
    pub caution: String,
}

impl Mirror<OrderChance> for rates::OrderChance {
    fn mirror(self) -> OrderChance {
        OrderChance {
            caution: self.finding().caution,
            day: self.day,
            needed: self.needed,
            chance: self.chance,
            at_least: self.at_least,
            promised: self.promised,
            why: self.why,
        }
    }
}
