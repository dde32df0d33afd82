//! Even cartons: which eggs go together, which stay behind and why, and where each egg stands.
//!
//! # What "best" means
//! For each species and class, among all legal ways of packing, in this order:
//! 1. the most eggs in full cartons (a carton is full or it is not packed);
//! 2. the fewest cartons that hold so many, so that large cartons come before small ones;
//! 3. the least **largest range**, where the range of a carton is its heaviest egg less its
//!    lightest: no customer gets a less even carton than need be;
//! 4. the least **total range**, summed over the cartons.
//!
//! Legal means: one species, every egg within the class's single-egg limits and the age limit, and
//! each carton at or over the class's minimum net weight for its number of eggs.
//!
//! # Why runs are enough (no net weight in the way)
//! Take any packing, and let carton A hold the lightest packed egg. If another carton B holds an egg
//! lighter than A's heaviest, put the |A| lightest eggs of A ∪ B into A and the rest into B. Neither
//! count changes. Every egg of A was at most A's heaviest, so the |A|-th lightest of the union is
//! too: A's range does not grow. If B reached as high as A or higher, the |B| heaviest of the union
//! are all at least B's lightest, so B's range does not grow either, and the new ranges sum to no
//! more than before. If instead B lay within A, both new ranges are parts of A's old one without
//! the gap between them. So neither the largest nor the total range grows, and the sum of A's ranks
//! falls; repeated, this ends with A a run of the lightest eggs, and the same holds for the rest.
//! An egg left over inside a run changes places with the run's lightest egg at no cost. So some
//! best packing consists of runs of neighbours in weight order, and a dynamic programme over the
//! sorted eggs (each is left over, or ends a run) finds it: one pass for the least largest range,
//! one for the least total within it. Both orders are lexicographic and keep their order when the
//! same run is added to two candidates, which is what the programme needs.
//!
//! # Classes, ages
//! Each species and class is packed by itself, and so is each span of lay days where ages are kept
//! together. Where heavier eggs may stand in a lighter class, what one class leaves over goes on to
//! the next. "Best" is then said of each group, in that order, and not of the whole.
//!
//! # The net weight
//! The exchange may leave A under its minimum net weight. Then light eggs have to stand beside heavy
//! ones, and the question contains 3-partition: no fast exact method is known for every case. So
//! the answer says how sure it is, in [`Proof`]: runs that respect the net weight are proved best
//! when they score as well as the best runs that ignore it; otherwise a sweep that leaves nothing
//! out settles what a small flock packs in a day, and beyond its limit on the work the cartons are
//! built and reported with bounds that no packing beats. The number of eggs and of cartons then
//! usually meets its bound, and the widest carton nearly; the total of the ranges has none.

mod ages;
mod bounds;
mod by_pack;
mod count;
mod fill;
mod layout;
mod mixed;
mod plan;
mod runs;
mod score;
mod sort;
mod sweep;
mod types;

pub use by_pack::{classes, plan_by_pack};
pub use count::{CountPlan, plan_count};
pub use layout::{Cell, Layout, PLACING};
pub use plan::{Carton, Group, Placed, Plan, plan, plan_within};
pub use types::{
    Capacities, CartonError, ClassLimits, Egg, Freshness, LeftOver, LeftOverReason, Measure, Proof,
    Terms,
};
