use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::take::Chosen;
use super::trace::facts;
use super::{ErrorKind, Farm, FarmError};
use crate::book::due::{Brushes, COOLER_DAYS, Desk, Now, Suggestion, now, suggest};
use crate::record::{Body, Id, Instant, InvalidRecord, Kind, Lot, Parts, Station};
use crate::store::Tx;
use crate::trade::cartons::{Capacities, Egg, Plan, plan_by_pack};
use crate::trade::rules::RulePack;
use crate::trade::units::Grams;
use crate::trade::{Finding, Means, Species};

const DAY_MS: i64 = 86_400_000;

impl Farm {
    /// What stands where, how old, and what is due next and why, by this device's clock.
    ///
    /// Reads what stands at the stations and the lots that it is of; earlier years cost nothing.
    pub fn now(&self) -> Result<Now, FarmError> {
        let at = self.env.now();
        self.lock().store.read(|tx| Ok(now(&desk(tx, at)?, at)))
    }

    /// A suggestion: the oldest eggs of a station first, so many (all where no number is given),
    /// held ones left out and named. It is never applied by itself.
    pub fn suggest(
        &self,
        station: Station,
        species: Species,
        eggs: Option<u32>,
    ) -> Result<Suggestion, FarmError> {
        let here = self.now()?.here;
        Ok(suggest(&here, station.into(), species, eggs))
    }

    /// A suggestion: even cartons from the weights of single eggs, in grams, under the farm's rules
    /// (by count where it chose none). Tags are the places in `grams`, from 1.
    ///
    /// # Errors
    /// [`ErrorKind::Invalid`] for weights or carton sizes that cannot be.
    pub fn even_cartons(
        &self,
        species: Species,
        grams: &[f64],
        sizes: &[u16],
        step_down: bool,
    ) -> Result<Finding<Plan>, FarmError> {
        // Weights say nothing of ages; which eggs may be packed is for the list of what is due.
        let laid = self.today()?;
        let eggs = grams.iter().map(|grams| (species, laid, *grams));
        self.plan(eggs, sizes, step_down)
    }

    /// As [`Farm::even_cartons`], of eggs whose lots are known: those of a lot too old to be packed
    /// stay out, and no carton holds eggs further apart than the house policy wants them.
    ///
    /// # Errors
    /// [`ErrorKind::Invalid`] for weights or carton sizes that cannot be.
    pub fn even_cartons_of(
        &self,
        eggs: &[(Lot, f64)],
        sizes: &[u16],
        step_down: bool,
    ) -> Result<Finding<Plan>, FarmError> {
        let eggs = eggs.iter();
        let eggs = eggs.map(|(lot, grams)| (lot.species, lot.day, *grams));
        self.plan(eggs, sizes, step_down)
    }

    fn plan(
        &self,
        eggs: impl Iterator<Item = (Species, NaiveDate, f64)>,
        sizes: &[u16],
        step_down: bool,
    ) -> Result<Finding<Plan>, FarmError> {
        let today = self.today()?;
        let setting = self.lock().store.read::<_, FarmError>(|tx| {
            let chosen: Chosen = tx.meta("setting")?.unwrap_or_default();
            Ok(chosen.setting())
        })?;
        let wrong = |e: String| FarmError::new(ErrorKind::Invalid, e);
        let sizes = Capacities::new(sizes).map_err(|e| wrong(e.to_string()))?;
        let eggs: Vec<Egg> = (1u64..)
            .zip(eggs)
            .map(|(tag, (species, laid, grams))| Egg {
                tag,
                species,
                weight: Grams(grams),
                lay_day: Some(laid),
            })
            .collect();
        let pack = setting.pack.unwrap_or_else(|| RulePack {
            sizes: None,
            ..RulePack::custom(&RulePack::us_federal(), "No rule pack chosen")
        });
        plan_by_pack(&eggs, &sizes, today, step_down, &pack, &setting.house)
            .map_err(|e| wrong(e.to_string()))
    }

    /// The eggs of so many cartons of a run, for logging that they leave: the oldest lots of it of
    /// which any may be left first.
    ///
    /// # Errors
    /// [`ErrorKind::NotFound`] where no such run stands, [`ErrorKind::Invalid`] where it has fewer.
    pub fn of_run(&self, run: Id, cartons: u32) -> Result<Parts, FarmError> {
        self.lock().store.read(|tx| {
            let record = tx.live_by_id(&BTreeSet::from([run]))?.remove(&run);
            let Some(Body::Carton(carton)) = record.map(|record| record.body) else {
                let message = format!("no run of cartons {run} stands here");
                return Err(FarmError::new(ErrorKind::NotFound, message));
            };
            let lots = carton.parts.0.keys().copied().collect();
            let facts = facts(tx, &lots)?;
            let mut wanted = cartons.saturating_mul(carton.eggs_per_carton);
            let mut parts = Parts::default();
            for (lot, paths) in &facts.lots {
                let of_run = paths.left().iter().find(|(of, _, _)| *of == run);
                let take = of_run.map_or(0, |(_, _, most)| *most).min(wanted);
                if take > 0 {
                    parts.0.insert(*lot, take);
                    wanted -= take;
                }
            }
            if wanted > 0 {
                let left = parts.eggs() / carton.eggs_per_carton.max(1);
                let allowed = format!("allowed are at most the {left} that are left");
                return Err(InvalidRecord::new("cartons", cartons, allowed).into());
            }
            Ok(parts)
        })
    }
}

/// Everything that the list of what is due asks.
pub(super) fn desk(tx: &Tx<'_>, at: Instant) -> Result<Desk, FarmError> {
    let chosen: Chosen = tx.meta("setting")?.unwrap_or_default();
    let setting = chosen.setting();
    let lots = tx.lots_here()?;
    let facts = facts(tx, &lots)?;
    let mut gathered_before: BTreeMap<Id, Instant> = BTreeMap::new();
    for record in facts.records.values() {
        if let Body::Gather(gather) = &record.body {
            let before = tx.gathered_before(gather.coop, gather.species, record.at)?;
            gathered_before.extend(before.map(|before| (record.id, before)));
        }
    }
    let mut candled = BTreeMap::new();
    if let Some(first) = lots.first() {
        let since = setting.zone.day_begins(first.day);
        for record in tx.live_between(Kind::Candle, since, at.plus_ms(DAY_MS))? {
            let Body::Candle(candle) = record.body else {
                continue;
            };
            for (lot, n) in candle.parts.0 {
                *candled.entry(lot).or_default() += n;
            }
        }
    }
    let replaced = tx.latest_with(Kind::Supply, ("item", "brush_replaced"), at)?;
    // Where no brush was ever replaced, how long this one is in use is not known.
    let since = replaced.unwrap_or(at.plus_ms(-60 * DAY_MS));
    let washes = tx.live_between(Kind::Wash, since, at)?.into_iter();
    let used_since = washes
        .filter(|r| matches!(&r.body, Body::Wash(w) if w.means == Means::Brush.code()))
        .map(|r| r.at)
        .min();
    let mut latest = BTreeMap::new();
    for record in tx.live_between(Kind::Reading, at.plus_ms(-COOLER_DAYS * DAY_MS), at)? {
        if let Body::Reading(reading) = &record.body {
            latest.insert(reading.cooler, record);
        }
    }
    Ok(Desk {
        facts,
        setting,
        gathered_before,
        candled,
        brushes: Brushes {
            replaced,
            used_since,
        },
        readings: latest.into_values().collect(),
    })
}
