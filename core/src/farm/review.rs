use std::collections::BTreeMap;

use super::facade::Inner;
use super::log::Logged;
use super::{ErrorKind, Farm, FarmError};
use crate::book::Names;
use crate::book::review::{
    Affected, CartonRun, Choice, ClockOff, Finding, Gone, OFF_S, Overdrawn, Pair, Setting,
    breaches, cannot_read, clock, double, held, overdraw, retired_use, said, same_name, undecided,
};
use crate::ledger::Document;
use crate::mutants::mutant;
use crate::record::edits::{Standing, effective};
use crate::record::{Actor, Body, DocName, Draft, Fields, Hold, Id, Kind, Lot, Parts, Record};
use crate::store::{StoreError, Tx, Written};

impl Farm {
    /// The lines of the review list that nobody decided yet, the most pressing first.
    pub fn review(&self) -> Result<Vec<Finding>, FarmError> {
        let mut inner = self.lock();
        let farm = inner.me.farm;
        inner.store.read(|tx| {
            let chosen: Option<super::take::Chosen> = tx.meta("setting")?;
            let findings = Asking {
                tx,
                farm,
                names: tx.names()?,
                setting: chosen.unwrap_or_default().setting(),
            }
            .everything()?;
            Ok(undecided(findings, &tx.decisions()?))
        })
    }

    /// Carries out one choice of a line: as records, which merge like any other and can be voided.
    /// Gives what was logged.
    pub fn decide(&self, line: &str, choice: &Choice) -> Result<Vec<Logged>, FarmError> {
        let findings = self.review()?;
        let finding = findings.iter().find(|f| f.line == line).ok_or_else(|| {
            FarmError::new(
                ErrorKind::NotFound,
                format!("the review list has no line {line:?} now"),
            )
        })?;
        if !finding.choices.contains(choice) {
            return Err(FarmError::new(
                ErrorKind::Invalid,
                "this line does not offer that choice",
            ));
        }
        let why = format!("review: {}", line.split('/').next().unwrap_or(line));
        match choice {
            Choice::Keep {
                record,
                field,
                value,
            } => {
                let mut set = Fields::new();
                set.insert(field.clone(), value.clone());
                Ok(vec![self.amend(*record, set, Some(&why))?])
            }
            Choice::Void { record } => Ok(vec![self.void(*record, &why)?]),
            Choice::Restore { void } => Ok(vec![self.void(*void, &why)?]),
            Choice::BothRight => self.decided(finding, "both_right"),
            Choice::Seen => self.decided(finding, "seen"),
            Choice::Recount { place, lot } => Err(FarmError::new(
                ErrorKind::Invalid,
                format!(
                    "count the eggs of lot {lot} at station {} and log a recount",
                    place.code()
                ),
            )),
            Choice::PullHeld { cartons } => cartons
                .iter()
                .map(|run| self.pull_held(*run, &why))
                .collect(),
            Choice::Shift { records, by_s } => records
                .iter()
                .map(|id| {
                    let row = self.record(*id)?.ok_or_else(|| {
                        FarmError::new(ErrorKind::NotFound, format!("there is no record {id} here"))
                    })?;
                    let mut set = Fields::new();
                    let at = row.at.plus_ms(by_s.saturating_mul(1000));
                    set.insert("at".into(), at.to_string().into());
                    self.amend(*id, set, Some(&why))
                })
                .collect(),
        }
    }

    fn decided(&self, finding: &Finding, choice: &str) -> Result<Vec<Logged>, FarmError> {
        let draft = Draft::new(Kind::Decision)
            .with("line", finding.line.clone())
            .with("state", finding.state.clone())
            .with("choice", choice);
        Ok(vec![self.log(draft)?])
    }

    /// Pulls what is left of a carton run out of the flow.
    fn pull_held(&self, run: Id, why: &str) -> Result<Logged, FarmError> {
        let left = self.lock().store.read::<_, FarmError>(|tx| {
            let Some((base, edits)) = tx.said_about(run)? else {
                return Ok(Parts::default());
            };
            match effective(run, &base, &edits).record {
                Some(Record {
                    body: Body::Carton(carton),
                    ..
                }) => left_of(tx, run, &carton.parts),
                _ => Ok(Parts::default()),
            }
        })?;
        let parts = serde_json::to_value(&left)
            .map_err(|e| FarmError::new(ErrorKind::Damaged, e.to_string()))?;
        self.log(
            Draft::new(Kind::Cull)
                .with("station", "cartoned")
                .with("parts", parts)
                .with("reason", "held")
                .with("use", "discard")
                .with("carton", run.to_string())
                .with("note", why),
        )
    }
}

/// A hundred years: no clock that anyone lives by is off by more.
const CENTURY_S: i64 = 3_155_760_000;

impl Inner {
    /// Notes how far the clock is off against the server's, when that is news.
    pub(super) fn clock_news(&mut self, offset_ms: i64) -> Result<Option<i64>, FarmError> {
        let offset_s = offset_ms.div_euclid(1000);
        let noted: i64 = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.meta("clock_noted")?.unwrap_or(0)))?;
        if offset_s.abs() > CENTURY_S {
            // The server's clock is the absurd one.
            return Ok(None);
        }
        let off = offset_s.abs() >= OFF_S;
        let news = if off {
            (offset_s - noted).abs() >= OFF_S / 2
        } else {
            noted != 0
        };
        Ok((news && self.me.person.is_some()).then_some(if off { offset_s } else { 0 }))
    }
}

/// Whether neither of two writers had seen the other's record, by the causal history of their
/// document. Of records in two documents nobody can tell, so they count as apart.
pub(super) fn apart(
    tx: &Tx<'_>,
    farm: Id,
    open: &mut BTreeMap<DocName, Document>,
    one: &Written,
    other: &Written,
) -> Result<bool, StoreError> {
    if one.doc != other.doc || mutant("doubles_by_clock") {
        return Ok(true);
    }
    if !open.contains_key(&one.doc) {
        let kept = tx.load_doc(&one.doc)?;
        // Nothing is written into it, so it needs no actor of its own.
        let document = super::take::open(farm, &one.doc, Actor([1; 16]), &kept)
            .map_err(|e| StoreError::Damaged(e.to_string()))?;
        open.insert(one.doc.clone(), document);
    }
    Ok(open.get(&one.doc).is_none_or(|document| {
        !document.saw(&one.hash, &other.hash) && !document.saw(&other.hash, &one.hash)
    }))
}

/// The eggs of a carton run that neither left nor were pulled.
fn left_of(tx: &Tx<'_>, run: Id, packed: &Parts) -> Result<Parts, FarmError> {
    let mut left = packed.clone();
    for record in tx.left_run(run)? {
        let (parts, back) = match record.body {
            Body::Out(out) => (out.parts, out.way == "returned"),
            Body::Cull(cull) => (cull.parts, false),
            _ => continue,
        };
        for (lot, n) in parts.0 {
            let here = left.0.entry(lot).or_default();
            *here = if back {
                here.saturating_add(n)
            } else {
                here.saturating_sub(n)
            };
        }
    }
    left.0.retain(|_, n| *n > 0);
    Ok(left)
}

/// Puts the questions of the list to the tables.
struct Asking<'a> {
    tx: &'a Tx<'a>,
    farm: Id,
    names: Names,
    setting: Setting,
}

impl Asking<'_> {
    fn everything(&self) -> Result<Vec<Finding>, FarmError> {
        let mut found = Vec::new();
        for hold in self.tx.live_of(Kind::Hold)? {
            found.extend(self.held(&hold)?);
        }
        for id in self.tx.flagged()? {
            if let Some((base, edits)) = self.tx.said_about(id)? {
                let now = effective(id, &base, &edits);
                found.extend(said(&now));
                if let (Some(record), Standing::Live) = (&now.record, &now.standing) {
                    let best_by = self.tx.best_by_of(record)?;
                    found.extend(breaches(record, &self.setting, best_by));
                }
            }
        }
        for (place, lot, balance) in self.tx.overdrawn()? {
            let took = self.tx.took(place, lot)?;
            found.push(overdraw(&Overdrawn {
                place,
                lot,
                balance,
                took,
            }));
        }
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
            None => crate::book::review::Gathered::Everything,
        };
        Ok(Affected::of(lot, hold, |_, _| share))
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
                    for gather in self.tx.gathers_after(record.id, last)? {
                        if let Body::Gather(g) = &gather.body {
                            found.push(retired_use(&gather, g.species));
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
