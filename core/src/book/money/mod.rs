//! Money as logged: takings, what feed and supplies cost, standing orders against the forecast.
//!
//! Amounts are exact: whole thousandths of the farm's one currency, added up as whole numbers. What
//! is divided (a price per carton, a cost per dozen) is rounded once, at the end. A price that
//! nobody wrote down is unknown, not zero: sums say how much of them is known. Nothing here
//! converts currencies or knows of taxes.

mod amount;
mod cost;
mod orders;
mod takings;

pub use amount::Amount;
pub use cost::{Costs, Spent, costs};
pub use orders::{OrderInput, Orders, Standing, WEEKDAYS, due_orders, orders};
pub use takings::{CartonPrice, Taken, Takings, TakingsInput, takings};
