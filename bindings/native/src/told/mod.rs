//! What an app is told: mirrors of what the facade answers.
//!
//! Ids are text; days are `YYYY-MM-DD` in the farm's zone; moments are milliseconds since 1970 UTC in
//! fields that end in `_ms`; a lot is written as in records, such as `2026-11-25/hen`.

mod call_back;
mod money;
mod now;
mod other;
mod record;
mod review;
mod sheet;
mod sink;
mod span;
mod stocktake;
mod trail;
mod trends;
mod words;

pub use call_back::*;
pub use money::*;
pub use now::*;
pub use other::*;
pub use record::*;
pub use review::*;
pub use sheet::*;
pub use sink::*;
pub use span::*;
pub use stocktake::*;
pub use trail::*;
pub use trends::*;
pub use words::*;

use std::collections::BTreeMap;

use pointdown_core::record::{Lot, Parts};
use pointdown_core::trade;

use crate::mirror::{Mirror, mirror_record};

/// Eggs of a lot.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct LotEggs {
    /// The lot.
    pub lot: String,
    /// How many.
    pub eggs: i64,
}

impl<N: Into<i64>> Mirror<Vec<LotEggs>> for BTreeMap<Lot, N> {
    fn mirror(self) -> Vec<LotEggs> {
        let one = |(lot, eggs): (Lot, N)| LotEggs {
            lot: lot.to_string(),
            eggs: eggs.into(),
        };
        self.into_iter().map(one).collect()
    }
}

impl Mirror<Vec<LotEggs>> for Parts {
    fn mirror(self) -> Vec<LotEggs> {
        self.0.mirror()
    }
}

/// A number of eggs that is only known between two ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Record)]
pub struct Between {
    /// At least.
    pub least: u32,
    /// At most.
    pub most: u32,
}

impl Mirror<Between> for (u32, u32) {
    fn mirror(self) -> Between {
        Between {
            least: self.0,
            most: self.1,
        }
    }
}

mirror_record! {
    /// One rule that led to a result, and where it comes from.
    Reason of trade::Reason {
        /// The rule in words, with its figures.
        rule: String,
        /// The text it comes from.
        source: String,
        /// How sure that source is.
        mark: Mark,
    }
}
