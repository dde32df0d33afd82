use std::collections::BTreeMap;

use super::FarmError;
use super::review::{apart, left_of, saw};
use crate::book::review::{
    Affected, CartonRun, ClockOff, Finding, Gathered, Gone, Lost, OFF_S, Overdrawn, Overtaken,
    Pair, Setting, Stocktaken, breaches, cannot_read, clock, double, held, misdated, overdraw,
    overtaken, retired_use, said, same_name, stocktake, stocktake_line,
};
use crate::book::{Names, Place, moves};
use crate::ledger::Document;
use crate::record::edits::{Edit, Standing, effective};
use crate::record::{Body, Decision, DocName, Hold, Id, Kind, Lot, Parts, Record, Recount};
use crate::store::Tx;

/// Puts the questions of the list to the tables.
pub(super) struct Asking<'a> {
    pub(super) tx: &'a Tx<'a>,
    pub(super) farm: Id,
    pub(super) names: Names,
    pub(super) setting: Setting,
    pub(super) decided: &'a [Decision],
}

impl Asking<'_> {
    /// Every line, decided or not; of stocktakes only those that nobody decided.
    pub(super) fn everything(&self) -> Result<Vec<Finding>, FarmError> {
        let mut found = Vec::new();
        for hold in self.tx.live_of(Kind::Hold)? {
            found.extend(self.held(&hold)?);
        }
        for id in self.tx.flagged()? {
            if let Some((base, edits)) = self.tx.said_about(id)? {
                let now = effective(id, &base, &edits);
                found.extend(said(&now));
                if let (Some(record), Standing::Live) = (&now.record, &now.standing) {
                    let run = self.tx.run_of(record)?;
                    let made_s = self.tx.made_at(id)?.unwrap_or(0);
                    found.extend(breaches(record, &self.setting, run.as_ref()));
                    found.extend(misdated(record, made_s, self.setting.zone, run.as_ref()));
                }
            }
        }
        for (place, lot, balance) in self.tx.overdrawn()? {
            let took = self.tx.took(place, lot)?;
            let lost = self.lost(place, lot)?;
            found.push(overdraw(&Overdrawn {
                place,
                lot,
                balance,
                took,
                lost,
            }));
        }
        found.extend(self.counts()?);
        found.extend(self.doubles()?);
        found.extend(self.clocks()?);
        found.extend(self.set_up()?);
        for (id, at, why) in self.tx.unreadable()? {
            found.push(cannot_read(id, at, &why));
        }
        Ok(found)
    }

    fn held(&self, record: &Record) -> Result<Option<Finding>, FarmError> {
        let Body::Hold(hold) = &record.body else {
            return Ok(None);
        };
        let records = self.tx.packed_or_gone(hold.from, hold.until)?;
        let mut runs = Vec::new();
        let mut gone = Vec::new();
        for found in &records {
            match &found.body {
                Body::Carton(carton) => {
                    let affected = self.worst(&carton.parts, hold)?;
                    let left = left_of(self.tx, found.id, &carton.parts)?.eggs();
                    let here = left.div_ceil(carton.eggs_per_carton.max(1));
                    let gone = carton.cartons.saturating_sub(here);
                    runs.push(CartonRun {
                        record: found,
                        cartons: carton.cartons,
                        gone,
                        affected,
                    });
                }
                Body::Out(out) if out.way != "returned" => {
                    let outlet = out.outlet.and_then(|id| self.names.get(&id).cloned());
                    let to = outlet
                        .or_else(|| out.to.clone())
                        .unwrap_or_else(|| out.way.clone());
                    gone.push(Gone {
                        record: found,
                        to,
                        affected: self.worst(&out.parts, hold)?,
                    });
                }
                _ => {}
            }
        }
        Ok(held(record, &runs, &gone))
    }

    fn worst(&self, parts: &Parts, hold: &Hold) -> Result<Affected, FarmError> {
        let lots = parts.0.keys().map(|lot| self.affected(lot, hold));
        let lots = lots.collect::<Result<Vec<_>, _>>()?;
        // A carton with one held lot among others holds some held eggs, not only such.
        Ok(if lots.iter().all(|lot| *lot == Affected::Not) {
            Affected::Not
        } else if lots.iter().all(|lot| *lot == Affected::All) {
            Affected::All
        } else {
            Affected::Pooled
        })
    }

    fn affected(&self, lot: &Lot, hold: &Hold) -> Result<Affected, FarmError> {
        let share = match hold.coop {
            Some(coop) => self.tx.share(coop, lot.species, lot.day)?,
            None => Gathered::Everything,
        };
        Ok(Affected::of(lot, hold, |_, _| share))
    }

    /// What once brought eggs of a lot to a place and was mended or voided since.
    fn lost(&self, place: Place, lot: Lot) -> Result<Vec<Lost>, FarmError> {
        let zone = self.setting.zone;
        let brought = |record: &Record| -> i64 {
            let moved = moves(record, zone).into_iter();
            let here = moved.filter(|m| m.to == place && m.lot == lot);
            here.map(|m| i64::from(m.eggs)).sum()
        };
        let first = Id::at(zone.day_begins(lot.day).ms(), [0; 10]);
        let mut all = Vec::new();
        for id in self.tx.edited_since(first)? {
            let Some((base, edits)) = self.tx.said_about(id)? else {
                continue;
            };
            let before = Record::read(id, &base).map_or(0, |record| brought(&record));
            let now = effective(id, &base, &edits);
            let after = match (&now.standing, &now.record) {
                (Standing::Live, Some(record)) => brought(record),
                _ => 0,
            };
            if after < before {
                let said = now.said.iter();
                all.push(Lost {
                    record: id,
                    by: now.record.as_ref().and_then(|record| record.by),
                    edits: said
                        .map(|s| (s.id, s.by, matches!(s.body, Body::Void(_))))
                        .collect(),
                });
            }
        }
        Ok(all)
    }

    /// Recounts that found another number than the book says: those that were held against a book
    /// that has changed since, and those that simply differ.
    fn counts(&self) -> Result<Vec<Finding>, FarmError> {
        let mut open = BTreeMap::new();
        let mut found = Vec::new();
        for (record, now) in self.tx.differing()? {
            let Body::Recount(recount) = &record.body else {
                continue;
            };
            let then = recount.expected.filter(|then| *then != now);
            // A recount that was mended is about another shelf or moment than it was then.
            let mended = || -> Result<bool, FarmError> {
                let said = self.tx.said_about(record.id)?;
                Ok(said.is_some_and(|(_, edits)| {
                    amended_fields(&edits)
                        .any(|name| matches!(name.as_str(), "at" | "station" | "lot" | "species"))
                }))
            };
            if then.is_none() || mended()? {
                found.extend(self.stocktake(&record, recount, now)?);
                continue;
            }
            let late = self.late(&mut open, &record, recount)?;
            found.extend(overtaken(&Overtaken {
                record: &record,
                recount,
                now,
                late,
            }));
        }
        Ok(found)
    }

    /// What moved the eggs of a recount before it and was not known where it was logged.
    fn late(
        &self,
        open: &mut BTreeMap<DocName, Document>,
        record: &Record,
        recount: &Recount,
    ) -> Result<Vec<(Id, Option<Id>)>, FarmError> {
        let mut late = Vec::new();
        let (Some(species), Some(mine)) = (recount.of_species(), self.tx.written(record.id)?)
        else {
            return Ok(late);
        };
        let station = recount.station.into();
        for (id, by) in self.tx.moved_before(station, species, record)? {
            let Some(theirs) = self.tx.written(id)? else {
                continue;
            };
            // Of records in two documents nobody can tell who had seen which.
            let same = mine.doc == theirs.doc && mine.hash != theirs.hash;
            if same && !saw(self.tx, self.farm, open, &mine, &theirs)? {
                late.push((id, by));
            }
        }
        Ok(late)
    }

    /// A recount that differs from the book. One that answers a line of this list settles that line,
    /// and asks nothing by itself. Years of counts that were seen cost no look at what they counted.
    fn stocktake(
        &self,
        record: &Record,
        recount: &Recount,
        booked: i64,
    ) -> Result<Option<Finding>, FarmError> {
        let answers = record.note.as_ref();
        let answers = answers.is_some_and(|note| note.starts_with(super::decide::ANSWERS));
        let (line, state) = stocktake_line(record, recount.counted, booked);
        let seen = |d: &Decision| d.line == line && d.state == state;
        if answers || self.decided.iter().any(seen) {
            return Ok(None);
        }
        let missed = self.tx.missed_by(record.id)?.into_iter();
        Ok(stocktake(&Stocktaken {
            record,
            recount,
            by_lot: missed.map(|(lot, n)| (lot, -n)).collect(),
            moved: self.tx.moved_since_count(record, recount)?,
        }))
    }

    fn doubles(&self) -> Result<Vec<Finding>, FarmError> {
        let mut open = BTreeMap::new();
        let mut found = Vec::new();
        for (one, other) in self.tx.twins()? {
            let (Some(first), Some(second)) = (self.with_void(one)?, self.with_void(other)?) else {
                continue;
            };
            let (Body::Gather(a), Body::Gather(b)) = (&first.0.body, &second.0.body) else {
                continue;
            };
            let mut voids_seen = true;
            if let (Some((v, _)), Some((w, _))) = (first.1, second.1)
                && let (Some(v), Some(w)) = (self.tx.written(v)?, self.tx.written(w)?)
            {
                voids_seen = !apart(self.tx, self.farm, &mut open, &v, &w)?;
            }
            found.extend(double(&Pair {
                one: (&first.0, a),
                other: (&second.0, b),
                voids: [first.1, second.1],
                voids_seen,
            }));
        }
        Ok(found)
    }

    /// A record as it stands, and the void that took it away.
    #[allow(clippy::type_complexity)]
    fn with_void(&self, id: Id) -> Result<Option<(Record, Option<(Id, Option<Id>)>)>, FarmError> {
        let Some((base, edits)) = self.tx.said_about(id)? else {
            return Ok(None);
        };
        let now = effective(id, &base, &edits);
        let void = match now.standing {
            Standing::Voided { by: void, .. } => {
                let writer = now.said.iter().find(|s| s.id == void).and_then(|s| s.by);
                Some((void, writer))
            }
            _ => None,
        };
        Ok(now.record.map(|record| (record, void)))
    }

    fn clocks(&self) -> Result<Vec<Finding>, FarmError> {
        const WEEK_S: i64 = 7 * 86_400;
        let mut measured = self.tx.live_of(Kind::Clock)?;
        measured.sort_by_key(|r| r.id);
        let mut before: BTreeMap<Id, i64> = BTreeMap::new();
        let mut found = Vec::new();
        for record in &measured {
            let (Body::Clock(body), Some(device)) = (&record.body, record.device) else {
                continue;
            };
            let until = self.tx.made_at(record.id)?.unwrap_or(record.at.ms() / 1000);
            let after = before.insert(device, until).unwrap_or(until - WEEK_S);
            if body.offset_s.abs() < OFF_S {
                continue;
            }
            let dated = self.tx.dated_by(device, after, until)?;
            let offset_s = body.offset_s;
            found.extend(clock(&ClockOff {
                measured: record,
                offset_s,
                device,
                dated,
            }));
        }
        Ok(found)
    }

    /// The last amendment that said from when a coop is retired, and who wrote it.
    fn retired_by(&self, coop: Id) -> Result<Option<(Id, Option<Id>)>, FarmError> {
        let Some((base, edits)) = self.tx.said_about(coop)? else {
            return Ok(None);
        };
        let now = effective(coop, &base, &edits);
        let said = now.said.iter().rev().find(|s| match &s.body {
            Body::Amend(amend) => amend.set.get("retired").is_some_and(|day| !day.is_null()),
            _ => false,
        });
        Ok(said.map(|s| (s.id, s.by)))
    }

    fn set_up(&self) -> Result<Vec<Finding>, FarmError> {
        let mut found = Vec::new();
        for kind in [Kind::Coop, Kind::Person, Kind::Cooler, Kind::Outlet] {
            let records = self.tx.live_of(kind)?;
            let mut by_name: BTreeMap<String, Vec<&Record>> = BTreeMap::new();
            for record in &records {
                if let Some(name) = in_use(record) {
                    by_name
                        .entry(name.trim().to_lowercase())
                        .or_default()
                        .push(record);
                }
                if let Body::Coop(coop) = &record.body
                    && let Some(last) = coop.retired
                {
                    let retired_by = self.retired_by(record.id)?;
                    for gather in self.tx.gathers_after(record.id, last)? {
                        if let Body::Gather(g) = &gather.body {
                            found.push(retired_use(&gather, g.species, retired_by));
                        }
                    }
                }
            }
            for (name, records) in by_name.into_iter().filter(|(_, all)| all.len() > 1) {
                found.push(same_name(kind, &name, &records));
            }
        }
        Ok(found)
    }
}

/// The name of a set-up record that is in use.
fn in_use(record: &Record) -> Option<&str> {
    match &record.body {
        Body::Coop(b) => b.retired.is_none().then_some(&b.name),
        Body::Person(b) | Body::Cooler(b) => b.retired.is_none().then_some(&b.name),
        Body::Outlet(b) => b.retired.is_none().then_some(&b.name),
        _ => None,
    }
    .map(String::as_str)
}

/// The fields that amendments, in whatever way they stand, speak of.
fn amended_fields(edits: &[Edit]) -> impl Iterator<Item = &String> {
    let sets = edits.iter().filter_map(|edit| edit.fields.get("set"));
    sets.filter_map(serde_json::Value::as_object)
        .flat_map(|set| set.keys())
}
