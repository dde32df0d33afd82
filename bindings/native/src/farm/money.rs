use pointdown_core::record::Instant;

use super::{Farm, day};
use crate::mirror::Mirror;
use crate::{Costs, Count, Orders, PointdownError, Station, Stocktake, Takings};

/// Money, orders and stock.
#[uniffi::export]
impl Farm {
    /// What was sold, given, eaten and returned on a span of farm days, and what came in for it.
    pub fn takings(&self, first: String, last: String) -> Result<Takings, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        Ok(self.core()?.takings(first, last)?.mirror())
    }

    /// What feed and supplies cost on a span of farm days, against the eggs gathered on them. Feed
    /// counts on the day on which it was logged, so a short span says little.
    pub fn costs(&self, first: String, last: String) -> Result<Costs, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        Ok(self.core()?.costs(first, last)?.mirror())
    }

    /// The standing orders of outlets for the next days (1 to 60, today the first) against the
    /// forecast, for each species that somebody ordered.
    pub fn orders(&self, days: u32) -> Result<Vec<Orders>, PointdownError> {
        Ok(self.core()?.orders(days)?.mirror())
    }

    /// Logs what was counted at a station as recounts of one moment (now unless said), and holds it
    /// against the book. Nothing is logged where one of the counts is not allowed: none at all, a lot
    /// twice, or a lot and its whole species.
    #[uniffi::method(default(at_ms = None))]
    pub fn stocktake(
        &self,
        station: Station,
        counts: Vec<Count>,
        at_ms: Option<i64>,
    ) -> Result<Stocktake, PointdownError> {
        let counts: Vec<_> = counts
            .into_iter()
            .map(TryInto::try_into)
            .collect::<Result<_, _>>()?;
        let at = at_ms.map(Instant::from_ms);
        Ok(self
            .core()?
            .stocktake(station.into(), &counts, at)?
            .mirror())
    }
}
