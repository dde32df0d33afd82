//! The work itself, as pure functions and tables: no clock, no I/O, no shared data types.
//!
//! Every figure names where it comes from, and every result says why in words a person can read
//! (see [`Finding`]). No function has a limit of its own: limits come from a
//! [`RulePack`](rules::RulePack) with a [`HousePolicy`](rules::HousePolicy) on top.
//! The program explains and reminds; local codes, product labels and veterinarians decide.
//!
//! ```
//! use pointdown_core::trade::Species;
//! use pointdown_core::trade::rules::RulePack;
//! use pointdown_core::trade::units::{Celsius, Range};
//! use pointdown_core::trade::wash::{Water, water};
//!
//! let egg = Range::exact(Celsius::from_fahrenheit(75.0));
//! let found = water(Species::Hen, egg, &RulePack::us_federal())?;
//! let Water::Window(window) = found.value else { panic!("no water for these eggs") };
//! assert_eq!(window.to_string(), "95.0 °F (35.0 °C) to 115.0 °F (46.1 °C)");
//! assert!(found.why.iter().any(|reason| reason.source.contains("7 CFR 56.76")));
//! # Ok::<(), pointdown_core::trade::TradeError>(())
//! ```

pub mod basin;
pub mod body;
pub mod cartons;
pub mod clock;
pub mod conduction;
pub mod dates;
mod day_limit;
mod defect;
mod defect_facts;
mod defect_table;
pub mod dew;
mod error;
mod finding;
pub mod haugh;
pub mod label;
mod means;
pub mod quality;
pub mod rates;
mod rule;
pub mod rules;
pub mod size;
mod species;
pub mod temperature;
pub mod tolerance;
pub mod units;
pub mod wash;
mod wash_check;

pub use defect::Defect;
pub use defect_facts::{DefectFacts, Disposal, Packable, Side, Step};
pub use error::TradeError;
pub use finding::{
    COLD_CAUTION, FLOCK_CAUTION, FORECAST_CAUTION, Finding, LOCAL_CODES_DECIDE, Mark, Reason,
    WASH_CAUTION,
};
pub use means::{Cleaner, Means, Suitability};
pub use species::Species;
pub use wash_check::{WashDone, WashFault, check_wash};
