//! Rates: how the birds lay, what is lost and where, what it costs, and what may be promised.
//!
//! A day without a gather is *unknown*, never zero: it adds neither eggs nor hen-days, and no chart
//! moves on it. Every interval names its confidence, every alarm how often it cries for nothing.
//! The figures are statistics about the past and an honest guess about the next days; a sudden drop
//! together with soft or wrinkled shells or deaths is a matter for a veterinarian, at once.
//!
//! The incomplete beta and gamma functions come from the crate `special`; all else follows from
//! published formulas, each named where it is used.

mod alarm;
mod baseline;
mod charts;
mod compare;
mod cost;
mod cusum;
mod distribution;
mod error;
mod forecast;
mod interval;
mod lay;
mod shares;

pub use alarm::{AlarmDay, AlarmWish, DropAlarm};
pub use baseline::{Baseline, FlockDay};
pub use charts::{Limits, c_limits, np_limits, p_limits};
pub use compare::{Comparison, compare, compare_with_the_rest, fisher_two_sided, holm};
pub use cost::{Minor, cost_per_dozen, feed_per_dozen, feed_per_kg_of_eggs};
pub use cusum::{Cusum, RunLengths, Sums, reference_value};
pub use distribution::{Counts, normal_quantile};
pub use error::RatesError;
pub use forecast::{Ahead, Forecast, ForecastDay, Order, OrderChance, forecast};
pub use interval::{Interval, Proportion};
pub use lay::{Convention, Flock, FlockChange, GatherDay, LayRate, flock_days, lay_rate};
pub use shares::{Cull, CullShare, Gathered, cull_shares};
