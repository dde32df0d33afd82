use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::take::Chosen;
use super::{ErrorKind, Farm, FarmError};
use crate::book::trace::{
    Behind, CallBack, Facts, Paths, Question, Reach, Trail, call_back, trail,
};
use crate::record::{Body, Hold, Id, Instant, InvalidRecord, Kind, Lot, Record, run_code};
use crate::store::Tx;
use crate::trade::Species;

/// A little over a year.
const LATELY_MS: i64 = 400 * 86_400_000;

impl Farm {
    /// Everything that may be behind the cartons with this printed code, lot code or record id, and
    /// where they went; the latest run first. Several runs can carry one code; those of earlier
    /// years are meant only where none of the last 400 days carries it.
    ///
    /// # Errors
    /// [`ErrorKind::NotFound`] where no carton carries the code; [`ErrorKind::Invalid`] for the id
    /// of a record that is no carton run.
    pub fn trace(&self, code: &str) -> Result<Vec<Trail>, FarmError> {
        let now = self.env.now();
        let code = code.trim();
        let mut inner = self.lock();
        let mut runs = inner.store.read::<_, FarmError>(|tx| {
            let printed = printed(tx, code, now)?;
            match lot_code(tx, code)? {
                Some(lots) if printed.is_empty() => {
                    let mut all = Vec::new();
                    for lot in lots {
                        all.extend(tx.runs_of_lot(lot)?);
                    }
                    Ok(all)
                }
                _ => Ok(printed),
            }
        })?;
        if runs.is_empty() {
            runs.push(inner.find_record(code)?);
        }
        inner.store.read(|tx| {
            let mut trails = Vec::new();
            for run in runs {
                trails.push(of_run(tx, run, now)?);
            }
            Ok(trails)
        })
    }

    /// Every carton, on the shelf and out, that may hold the eggs in question, and whom to call.
    ///
    /// # Errors
    /// [`ErrorKind::NotFound`] for a record that is not here, [`ErrorKind::Invalid`] for one of
    /// another kind, or a span that ends before it begins.
    pub fn call_back(&self, question: Question) -> Result<CallBack, FarmError> {
        let now = self.env.now();
        self.lock().store.read(|tx| {
            let (reach, lots) = in_question(tx, &question, now)?;
            let facts = facts(tx, &lots)?;
            let reach = match (&question, reach) {
                // What a hold is about is said by its lots' gathers.
                (Question::Record { record }, Some(reach)) => match live(tx, *record)?.body {
                    Body::Hold(hold) => Reach::Through(facts.held(&hold)),
                    _ => reach,
                },
                (Question::Coop { .. }, _) => Reach::Through(facts.held(&as_hold(&question))),
                (_, None) => Reach::Through(BTreeSet::new()),
            };
            Ok(call_back(question, &reach, &facts))
        })
    }
}

/// The carton runs whose cartons bear a code, in any of the forms of [`run_code`], the latest first.
/// A carton in someone's hand is of the last months as a rule; the years before are looked through
/// only where none of these bears it.
pub(super) fn printed(tx: &Tx<'_>, code: &str, now: Instant) -> Result<Vec<Id>, FarmError> {
    let lately = printed_since(tx, code, now.plus_ms(-LATELY_MS))?;
    if lately.is_empty() {
        return printed_since(tx, code, Instant::EARLIEST);
    }
    Ok(lately)
}

fn printed_since(tx: &Tx<'_>, code: &str, since: Instant) -> Result<Vec<Id>, FarmError> {
    let mut likely: BTreeSet<Id> = tx.runs_with_code(code, since)?.into_iter().collect();
    if let Some((day, _)) = day_and_species(code) {
        // Where nobody wrote a code down, it is that of the lot, or of the day of packing.
        likely.extend(tx.runs_packed(day, since)?);
        for lot in tx.lots_of_day(day)? {
            likely.extend(tx.runs_of_lot(lot)?);
        }
    }
    let bears = |record: &&Record| match &record.body {
        Body::Carton(carton) => {
            let lots = carton.parts.0.keys().copied();
            let borne = run_code(carton.code.as_deref(), lots, carton.packed, record.id);
            record.at >= since && borne.eq_ignore_ascii_case(code)
        }
        _ => false,
    };
    let runs = tx.live_by_id(&likely)?;
    let mut runs: Vec<&Record> = runs.values().filter(bears).collect();
    runs.sort_by_key(|run| std::cmp::Reverse((run.at, run.id)));
    Ok(runs.into_iter().map(|run| run.id).collect())
}

/// The lots that a lot code such as `2026-329-hen` names; nothing for other text.
fn lot_code(tx: &Tx<'_>, code: &str) -> Result<Option<Vec<Lot>>, FarmError> {
    let Some((day, species)) = day_and_species(code) else {
        return Ok(None);
    };
    let lots = tx.lots_of_day(day)?.into_iter();
    let named = |lot: &Lot| lot.species == species && lot.code().eq_ignore_ascii_case(code);
    Ok(Some(lots.filter(named).collect()))
}

/// What a code such as `2026-329-hen` begins with.
fn day_and_species(code: &str) -> Option<(NaiveDate, Species)> {
    let mut words = code.splitn(4, '-');
    let (year, day) = (words.next()?.parse().ok()?, words.next()?.parse().ok()?);
    let species = Species::from_code(&words.next()?.to_ascii_lowercase())?;
    Some((NaiveDate::from_yo_opt(year, day)?, species))
}

fn live(tx: &Tx<'_>, id: Id) -> Result<Record, FarmError> {
    tx.live_by_id(&BTreeSet::from([id]))?
        .remove(&id)
        .ok_or_else(|| {
            FarmError::new(
                ErrorKind::NotFound,
                format!("no record {id} stands here; it may be voided"),
            )
        })
}

fn of_run(tx: &Tx<'_>, run: Id, now: Instant) -> Result<Trail, FarmError> {
    let record = live(tx, run)?;
    let Body::Carton(carton) = &record.body else {
        let kind = record.body.kind().code();
        let allowed = "allowed is a carton run, by the code on the carton or its id";
        return Err(InvalidRecord::new("carton", format!("a {kind}"), allowed).into());
    };
    let lots: BTreeSet<Lot> = carton.parts.0.keys().copied().collect();
    let facts = facts(tx, &lots)?;
    let last = facts
        .records
        .values()
        .map(|r| r.at)
        .max()
        .unwrap_or(now)
        .max(now);
    let first = lots
        .first()
        .map_or(record.at, |lot| facts.zone.day_begins(lot.day));
    let candlings = tx.live_between(Kind::Candle, first, last)?;
    let readings = tx.live_between(Kind::Reading, record.at, last)?;
    let behind = Behind {
        facts: &facts,
        candlings: &candlings,
        readings: &readings,
        now: last,
    };
    trail(&record, &behind)
        .ok_or_else(|| FarmError::new(ErrorKind::Damaged, format!("carton run {run}: no trail")))
}

/// Everything about these lots.
pub(super) fn facts(tx: &Tx<'_>, lots: &BTreeSet<Lot>) -> Result<Facts, FarmError> {
    let chosen: Chosen = tx.meta("setting")?.unwrap_or_default();
    let setting = chosen.setting();
    let mut all = BTreeMap::new();
    let mut ids = BTreeSet::new();
    for lot in lots {
        let steps = tx.steps(*lot)?;
        ids.extend(steps.iter().map(|s| s.record));
        ids.extend(steps.iter().filter_map(|s| s.run));
        all.insert(*lot, Paths::of(steps));
    }
    let outlets = tx.live_of(Kind::Outlet)?.into_iter();
    Ok(Facts {
        zone: setting.zone,
        names: tx.names()?,
        outlets: outlets
            .filter_map(|r| match r.body {
                Body::Outlet(outlet) => Some((r.id, outlet)),
                _ => None,
            })
            .collect(),
        pack: setting.pack,
        lots: all,
        records: tx.live_by_id(&ids)?,
        holds: tx.live_of(Kind::Hold)?,
    })
}

/// A coop and a span as the hold that would cover them.
fn as_hold(question: &Question) -> Hold {
    let (coop, species, first, last) = match question {
        Question::Coop {
            coop,
            species,
            first,
            last,
        } => (*coop, *species, *first, Some(*last)),
        Question::Record { .. } => (None, None, NaiveDate::MAX, None),
    };
    Hold {
        from: first,
        until: last,
        coop,
        species,
        cause: String::new(),
        given: None,
    }
}

/// What the eggs in question have in common, where that is known without their lots, and the lots
/// that they can be of.
fn in_question(
    tx: &Tx<'_>,
    question: &Question,
    now: Instant,
) -> Result<(Option<Reach>, BTreeSet<Lot>), FarmError> {
    let record = match question {
        Question::Coop { first, last, .. } if last < first => {
            let allowed = format!("allowed is {first} or later");
            return Err(InvalidRecord::new("to", last, allowed).into());
        }
        Question::Coop { .. } => return Ok((None, gathered_lots(tx, &as_hold(question), now)?)),
        Question::Record { record } => live(tx, *record)?,
    };
    let these = BTreeSet::from([record.id]);
    Ok(match &record.body {
        Body::Gather(_) | Body::Wash(_) | Body::Carton(_) => {
            let lots = tx.lots_of(&these)?;
            (Some(Reach::Through(these)), lots)
        }
        Body::Hold(hold) => (Some(Reach::Through(these)), gathered_lots(tx, hold, now)?),
        Body::Reading(reading) => {
            let (before, after) = tx.readings_beside(reading.cooler, record.at)?;
            let (from, to) = (
                before.unwrap_or(Instant::EARLIEST),
                after.unwrap_or(now).max(record.at),
            );
            let zone = tx.zone()?;
            let first = zone.day(from);
            let mut lots = tx.lots_moved(first, zone.day(to))?;
            let before = first.pred_opt().unwrap_or(first);
            lots.extend(tx.on_hand(before)?.into_iter().map(|(_, lot, _)| lot));
            (Some(Reach::Present { from, to }), lots)
        }
        other => {
            let allowed = "allowed are a gather, wash, carton, hold or reading";
            let kind = other.kind().code();
            return Err(InvalidRecord::new("record", format!("a {kind}"), allowed).into());
        }
    })
}

/// The lots of the gathers that a hold covers.
fn gathered_lots(tx: &Tx<'_>, hold: &Hold, now: Instant) -> Result<BTreeSet<Lot>, FarmError> {
    let zone = tx.zone()?;
    let from = zone.day_begins(hold.from);
    let to = hold
        .until
        .and_then(|day| day.succ_opt())
        // Nothing is dated more than a day ahead.
        .map_or(now.plus_ms(86_400_000), |day| {
            zone.day_begins(day).plus_ms(-1)
        });
    let gathers = tx.live_between(Kind::Gather, from, to)?.into_iter();
    let covered = gathers.filter(|r| match &r.body {
        Body::Gather(g) => {
            hold.coop.is_none_or(|c| c == g.coop) && hold.species.is_none_or(|s| s == g.species)
        }
        _ => false,
    });
    Ok(tx.lots_of(&covered.map(|r| r.id).collect())?)
}
