use pointdown_core::record::Lot;

use super::{Farm, id, lot};
use crate::mirror::Mirror;
use crate::{EggOfLot, EvenCartons, LotEggs, PointdownError, Sink, SinkAdvice, Species};

/// From the sink to the cartons and out: suggestions. Nothing is logged.
#[uniffi::export]
impl Farm {
    /// What the wash water has to be for these eggs, whether it is, and what is wrong with how they are
    /// cleaned, under the farm's rules; nothing where it chose none. A wash is logged by [`Farm::log`].
    pub fn sink(&self, sink: Sink) -> Result<Option<SinkAdvice>, PointdownError> {
        Ok(self.core()?.sink(&sink.into())?.mirror())
    }

    /// A suggestion: even cartons from the weights of single eggs, in grams, under the farm's rules.
    pub fn even_cartons(
        &self,
        species: Species,
        grams: Vec<f64>,
        sizes: Vec<u16>,
        step_down: bool,
    ) -> Result<EvenCartons, PointdownError> {
        let farm = self.core()?;
        let plan = farm.even_cartons(species.into(), &grams, &sizes, step_down)?;
        Ok(plan.mirror())
    }

    /// As [`Farm::even_cartons`], of eggs whose lots are known: those of a lot too old to be packed
    /// stay out, and no carton holds eggs further apart than the house policy wants them.
    pub fn even_cartons_of(
        &self,
        eggs: Vec<EggOfLot>,
        sizes: Vec<u16>,
        step_down: bool,
    ) -> Result<EvenCartons, PointdownError> {
        let one = |egg: &EggOfLot| -> Result<(Lot, f64), PointdownError> {
            Ok((lot("lot", &egg.lot)?, egg.grams))
        };
        let eggs: Vec<(Lot, f64)> = eggs.iter().map(one).collect::<Result<_, _>>()?;
        let plan = self.core()?.even_cartons_of(&eggs, &sizes, step_down)?;
        Ok(plan.mirror())
    }

    /// The eggs of so many cartons of a run, for logging that they leave: the oldest lots of it of
    /// which any may be left first.
    pub fn of_run(&self, run: String, cartons: u32) -> Result<Vec<LotEggs>, PointdownError> {
        Ok(self.core()?.of_run(id("run", &run)?, cartons)?.mirror())
    }
}
