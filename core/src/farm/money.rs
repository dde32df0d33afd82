use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use super::now::desk;
use super::read::flocks;
use super::{Farm, FarmError};
use crate::book::due::here;
use crate::book::money::{
    Costs, OrderInput, Orders, Takings, TakingsInput, costs, due_orders, orders, takings,
};
use crate::book::{Flock, Line, Measure};
use crate::record::{Body, Id, Instant, InvalidRecord, Kind, Record};
use crate::store::Tx;
use crate::trade::Species;
use crate::trade::rates::FlockDay;

/// Days that a forecast looks back.
const PAST_DAYS: u64 = 56;
/// Headcounts older than this say nothing of now.
const COUNT_DAYS: i64 = 400;
const DAY_MS: i64 = 86_400_000;

impl Farm {
    /// What was sold, given, eaten and returned on a span of farm days, and what came in for it.
    pub fn takings(&self, from: NaiveDate, to: NaiveDate) -> Result<Takings, FarmError> {
        in_order(from, to)?;
        let mut inner = self.lock();
        let farm = inner.me.farm;
        inner.store.read(|tx| {
            let outs = records(tx, &[Kind::Out], from, to)?;
            let runs: BTreeSet<Id> = outs
                .iter()
                .filter_map(|r| match &r.body {
                    Body::Out(out) => out.carton,
                    _ => None,
                })
                .collect();
            let runs = tx.live_by_id(&runs)?.into_iter();
            Ok(takings(&TakingsInput {
                from,
                to,
                outs,
                runs: runs
                    .filter_map(|(id, r)| match r.body {
                        Body::Carton(carton) => Some((id, carton)),
                        _ => None,
                    })
                    .collect(),
                names: tx.names()?,
                currency: match tx.live_by_id(&BTreeSet::from([farm]))?.remove(&farm) {
                    Some(Record {
                        body: Body::Farm(farm),
                        ..
                    }) => farm.currency,
                    _ => None,
                },
            }))
        })
    }

    /// What feed and supplies cost on a span of farm days, against the eggs gathered on them.
    pub fn costs(&self, from: NaiveDate, to: NaiveDate) -> Result<Costs, FarmError> {
        let sheet = self.sheet(from, to)?;
        let unknown = sheet.gathered.by_coop.iter().map(|row| row.days.unknown);
        let gathered = u64::try_from(sheet.gathered.eggs).unwrap_or(0);
        self.lock().store.read(|tx| {
            let spent = records(tx, &[Kind::Feed, Kind::Supply], from, to)?;
            Ok(costs(&spent, gathered, unknown.sum()))
        })
    }

    /// The standing orders of the next days (1 to 60, today the first) against the forecast, for
    /// each species that somebody ordered.
    pub fn orders(&self, days: u32) -> Result<Vec<Orders>, FarmError> {
        if !(1..=60).contains(&days) {
            return Err(InvalidRecord::new("days", days, "allowed are 1 to 60").into());
        }
        let at = self.env.now();
        self.lock().store.read(|tx| {
            let today = tx.zone()?.day(at);
            let mut by_species = BTreeMap::new();
            for record in tx.live_of(Kind::Outlet)? {
                if let Body::Outlet(outlet) = &record.body {
                    for order in due_orders(record.id, outlet, today, days) {
                        let of: &mut Vec<_> = by_species.entry(order.species).or_default();
                        of.push(order);
                    }
                }
            }
            if by_species.is_empty() {
                return Ok(Vec::new());
            }
            let here = here(&desk(tx, at)?, at);
            let past = Past::read(tx, today, at)?;
            let mut all = Vec::new();
            for (species, standing) in by_species {
                let free = here
                    .iter()
                    .filter(|h| h.species == species && h.held.is_none());
                // Eggs of today are in hand already where a round was logged.
                let first = if past.gathered_today(species, today) {
                    today.succ_opt().unwrap_or(today)
                } else {
                    today
                };
                all.push(orders(&OrderInput {
                    species,
                    standing,
                    past: past.days(species, today),
                    birds: past.birds(species, today).unwrap_or(0),
                    sellable: past.sellable(species),
                    on_hand: free.map(|h| u64::try_from(h.eggs).unwrap_or(0)).sum(),
                    days: u32::try_from((today - first).num_days() + i64::from(days))
                        .unwrap_or(1)
                        .max(1),
                    first,
                }));
            }
            Ok(all)
        })
    }
}

fn in_order(from: NaiveDate, to: NaiveDate) -> Result<(), FarmError> {
    if to < from {
        return Err(InvalidRecord::new("to", to, format!("allowed is {from} or later")).into());
    }
    Ok(())
}

/// The live records of these kinds of a span of farm days.
fn records(
    tx: &Tx<'_>,
    kinds: &[Kind],
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Vec<Record>, FarmError> {
    let zone = tx.zone()?;
    let last = zone.day_begins(to.succ_opt().unwrap_or(to)).plus_ms(-1);
    let mut all = Vec::new();
    for kind in kinds {
        all.extend(tx.live_between(*kind, zone.day_begins(from), last)?);
    }
    Ok(all)
}

/// What the last weeks say of the flocks.
struct Past {
    flocks: Vec<Flock>,
    /// Birds by flock, from the day on which they were counted.
    counted: BTreeMap<(Id, Species), BTreeMap<NaiveDate, u32>>,
    lines: Vec<Line>,
}

impl Past {
    fn read(tx: &Tx<'_>, today: NaiveDate, at: Instant) -> Result<Past, FarmError> {
        let zone = tx.zone()?;
        let from = today
            .checked_sub_days(Days::new(PAST_DAYS))
            .unwrap_or(today);
        let mut counted: BTreeMap<_, BTreeMap<_, _>> = BTreeMap::new();
        for record in tx.live_between(Kind::Headcount, at.plus_ms(-COUNT_DAYS * DAY_MS), at)? {
            if let Body::Headcount(h) = &record.body {
                let flock = counted.entry((h.coop, h.species)).or_default();
                flock.insert(zone.day(record.at), h.birds);
            }
        }
        Ok(Past {
            flocks: flocks(tx)?,
            counted,
            lines: tx.lines(from, today)?,
        })
    }

    fn sum(&self, measure: Measure, species: Species) -> i64 {
        let lines = self.lines.iter();
        let of = lines.filter(|l| l.measure == measure && l.species == species);
        of.map(|l| l.n).sum()
    }

    fn sellable(&self, species: Species) -> f64 {
        let (gathered, pulled) = (
            self.sum(Measure::Gathered, species),
            self.sum(Measure::Pulled, species),
        );
        if gathered <= 0 {
            return 1.0;
        }
        (1.0 - pulled as f64 / gathered as f64).clamp(0.0, 1.0)
    }

    fn gathered_today(&self, species: Species, today: NaiveDate) -> bool {
        let mut lines = self.lines.iter();
        lines.any(|l| l.measure == Measure::Rounds && l.species == species && l.day == today)
    }

    fn in_use(&self, species: Species, day: NaiveDate) -> impl Iterator<Item = &Flock> {
        self.flocks.iter().filter(move |f| {
            f.species == species && f.first <= day && f.last.is_none_or(|last| day <= last)
        })
    }

    /// Birds of a species on a day; nothing where a flock was not counted yet.
    fn birds(&self, species: Species, day: NaiveDate) -> Option<u32> {
        let mut birds = 0u32;
        for flock in self.in_use(species, day) {
            let counted = self.counted.get(&(flock.coop, species))?;
            let (_, n) = counted.range(..=day).next_back()?;
            birds = birds.saturating_add(*n);
        }
        Some(birds)
    }

    /// The past days, yesterday the last. A day counts where every flock was counted and gathered.
    fn days(&self, species: Species, today: NaiveDate) -> Vec<FlockDay> {
        let from = today
            .checked_sub_days(Days::new(PAST_DAYS))
            .unwrap_or(today);
        let day_of = |day: NaiveDate| {
            let of =
                |l: &&Line, measure| l.day == day && l.species == species && l.measure == measure;
            let rounds = |coop| {
                let mut lines = self.lines.iter();
                lines.any(|l| of(&l, Measure::Rounds) && l.coop == Some(coop) && l.n > 0)
            };
            let hens = self.birds(species, day);
            let whole = hens.is_some() && self.in_use(species, day).all(|f| rounds(f.coop));
            let eggs: i64 = self
                .lines
                .iter()
                .filter(|l| of(l, Measure::Gathered))
                .map(|l| l.n)
                .sum();
            FlockDay {
                hens: hens.unwrap_or(0),
                eggs: u32::try_from(eggs).ok().filter(|_| whole),
            }
        };
        from.iter_days()
            .take_while(|d| *d < today)
            .map(day_of)
            .collect()
    }
}
