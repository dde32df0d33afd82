//! The way of eggs through the farm: from a carton back to the nests, and from a round, a wash, a
//! hold or a cooler on to every carton and everyone who has one.
//!
//! Eggs of one lot at one station lie in one pool: nobody can tell them apart, so the answer is a
//! set, the smallest that is certain to contain the truth. An egg counts as *possibly* on a way
//! when some story that agrees with all the records puts it there, and as on it *for certain* when
//! every such story does. What the records say, and all that is used, is this:
//!
//! 1. **Lot and station.** An egg never changes its lot; a record takes eggs of the lots that it
//!    names from the station that it names, and as many as it says. Within a pool any egg may be
//!    the one that was taken.
//! 2. **Time.** A record can only take what was there at its time. Records of the same moment may
//!    have happened in any order, except that no egg comes back in the moment in which it left.
//! 3. **Numbers.** A pool that was empty holds only what came since.
//! 4. **Runs.** An out, a cull or a return that names a carton run is of that run. One that names
//!    none, from station `cartoned`, is of any run that can spare the eggs: what other records say
//!    that the run still had to give is not to spare.
//! 5. **Beyond the gate nothing is counted.** A return that names no run may be any egg of the lot
//!    that had left before.
//! 6. **A count that found too many** found eggs of the lot that could have been there without
//!    anyone logging it: gathered before, or of no known round at all.
//!
//! Where the records of a lot contradict one another (more eggs left a pool than had come by then)
//! no story agrees with them all. Then times and numbers of that lot are not used at all, only
//! lots, stations and runs, and the answer says so.
//!
//! With rules 1 to 3 every pool's number at every moment is fixed, so a story exists for each chain
//! of hand-overs in which no pool was empty between; the same holds with rule 4, by the argument at
//! `crates`. So the answer follows from one pass over the moves of a lot, in the order of
//! time, and no egg is named that could be left out.

mod back;
mod call;
mod crates;
mod facts;
mod paths;

pub use back::{Behind, Candled, Cooled, HoldBehind, Round, Trail, Washed, trail};
pub use call::{CALL_CAUTIONS, CallBack};
pub use call::{OutReached, Person, Pulled, Question, Reach, RunReached, Standing, call_back};
pub use facts::{Facts, Run};
pub use paths::{Paths, Share, Step};
