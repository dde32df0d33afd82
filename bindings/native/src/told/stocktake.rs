use pointdown_core::farm;

use super::{Finding, LotEggs, Species, Station};
use crate::PointdownError;
use crate::mirror::{Mirror, mirror_record};

/// What was counted at a station.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Enum)]
pub enum CountOf {
    /// The eggs of one lot.
    OneLot {
        /// The lot.
        lot: String,
    },
    /// All eggs of a species there, whatever their lots.
    Whole {
        /// The species.
        species: Species,
    },
}

impl Mirror<CountOf> for farm::CountOf {
    fn mirror(self) -> CountOf {
        match self {
            farm::CountOf::Lot(lot) => CountOf::OneLot { lot: lot.mirror() },
            farm::CountOf::Species(species) => CountOf::Whole {
                species: species.mirror(),
            },
        }
    }
}

/// One count: of what, and what was there.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Count {
    /// Of what.
    pub of: CountOf,
    /// Eggs that were there, 0 to 10,000.
    pub eggs: u32,
}

impl TryFrom<Count> for (farm::CountOf, u32) {
    type Error = PointdownError;

    fn try_from(count: Count) -> Result<(farm::CountOf, u32), PointdownError> {
        let of = match count.of {
            CountOf::OneLot { lot } => farm::CountOf::Lot(crate::farm::lot("lot", &lot)?),
            CountOf::Whole { species } => farm::CountOf::Species(species.into()),
        };
        Ok((of, count.eggs))
    }
}

mirror_record! {
    /// A station counted over, held against the book.
    Stocktake of farm::Stocktake {
        /// Where.
        station: Station,
        /// When.
        at_ms = at: i64,
        /// What was counted.
        counted: Vec<Counted>,
        /// Lots that the book expects there and nobody counted.
        not_counted: Vec<LotEggs>,
    }
}

mirror_record! {
    /// One count of a stocktake, beside what the book says.
    Counted of farm::Counted {
        /// Of what.
        of: CountOf,
        /// Eggs that the book expected.
        expected: i64,
        /// Eggs that were there.
        counted: u32,
        /// Counted less expected.
        difference: i64,
        /// The difference by lot, where it is not nothing.
        by_lot: Vec<LotEggs>,
        /// The recount that was logged, by id.
        record: String,
        /// Lines of the review list, as they stood before the count, that may be behind a difference.
        explained_by: Vec<Finding>,
        /// The tag of the count's own line on the review list, where it differs.
        line: Option<String>,
    }
}
