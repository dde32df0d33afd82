//! The review list: what merging brought to light, for people to decide.
//!
//! A CRDT makes every phone hold the same records; whether they are *right* together is another
//! question, and this list asks it. Every line is a function of the records alone. It goes away
//! only when its cause does, or when a person decides, and a decision is a record too.

mod breach;
mod count;
mod dates;
mod doubles;
mod held;
mod line;
mod said;
mod stock;
mod timing;

pub use breach::{Setting, breaches};
pub use count::{Overtaken, Stocktaken, overtaken, stocktake, stocktake_line};
pub use dates::misdated;
pub use doubles::{NEAR_MS, Pair, double};
pub use held::{Affected, CartonRun, Gathered, Gone, held};
pub use line::{Choice, Finding, Misdating, Weight, What, undecided};
pub use said::said;
pub use stock::{Lost, Overdrawn, cannot_read, overdraw, retired_use, same_name};
pub use timing::{ClockOff, OFF_S, clock};
