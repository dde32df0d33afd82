//! Tracing: against every story that the records allow, by hand-made examples, and on a farm.

mod farm;
mod minimal;
mod printed;
mod returned;
mod stories;
