//! What must hold: of one phone at any time, and of everything at the end.

use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash, Hasher};

use pointdown_core::book::review::Finding;
use pointdown_core::farm::{Farm, Location};
use pointdown_core::record::{DocName, Id};
use serde_json::Value;

use super::model::{Facts, Line, list};
use super::world::Outcome;
use super::{Dice, World};
use crate::phone::TestEnv;

/// Rounds of everyone syncing that are always enough.
const MOST_ROUNDS: usize = 12;

impl World {
    /// The database of a phone is whole, and every lot's eggs are accounted for.
    pub(super) fn check(&self, n: usize) -> Outcome {
        let check = self.phones[n].farm().check().map_err(|e| e.message)?;
        match check.wrong.first() {
            None => Ok(()),
            Some(wrong) => Err(format!("phone {n} does not check: {wrong}")),
        }
    }

    /// The eggs, the balances, the lines and the outbox of a phone hold.
    pub(super) fn check_book(&self, n: usize) -> Outcome {
        let check = self.phones[n].farm().check_book().map_err(|e| e.message)?;
        match check.wrong.first() {
            None => Ok(()),
            Some(wrong) => Err(format!("phone {n} does not hold: {wrong}")),
        }
    }

    /// The same set of changes made the same book and the same list wherever it ever came together.
    pub(super) fn alike_everywhere(&mut self, n: usize) -> Outcome {
        let farm = self.phones[n].farm();
        let (digest, view, review) = (farm.digest(), farm.view_sum(), farm.review());
        let (digest, view) = (digest.map_err(|e| e.message)?, view.map_err(|e| e.message)?);
        let review = serde_json::to_string(&review.map_err(|e| e.message)?);
        let mut hasher = DefaultHasher::new();
        (view, review.map_err(|e| e.to_string())?).hash(&mut hasher);
        let made = hasher.finish();
        match self.books.insert((*digest.of, digest.n), made) {
            Some(before) if before != made => Err(format!(
                "phone {n} makes another book or list of {} changes than was made of them before",
                digest.n
            )),
            _ => Ok(()),
        }
    }

    /// What was written here since a server was joined is at the server or in the outbox.
    pub(super) fn on_its_way(&mut self, n: usize) -> Outcome {
        let slot = &self.phones[n];
        if slot.fooled || slot.own.is_empty() {
            return Ok(());
        }
        let mut due = slot.own.difference(self.hall.records()?).peekable();
        if due.peek().is_none() {
            return Ok(());
        }
        // One change may hold several records, so the records themselves are asked for.
        let waiting = slot.farm().on_its_way().map_err(|e| e.message)?;
        match due.find(|id| !waiting.contains(&id.to_string())) {
            None => Ok(()),
            Some(id) => Err(format!(
                "phone {n}: record {id} is neither at the server nor on its way there"
            )),
        }
    }

    /// All links heal; everyone syncs until nothing moves.
    pub(super) fn heal(&mut self) -> Outcome {
        let mut dice = Dice::new(self.script.seed ^ 0x4ea1);
        let state = |world: &World| -> Result<Vec<(usize, u64, bool)>, String> {
            let mut all = vec![(world.hall.head()? as usize, 0, true)];
            for slot in &world.phones {
                let status = slot.farm().status().map_err(|e| e.message)?;
                all.push((slot.has.len(), status.waiting, status.agreed));
            }
            Ok(all)
        };
        for round in 0..MOST_ROUNDS {
            let before = state(self)?;
            for n in 0..self.phones.len() {
                self.pass(1000);
                if self.phones[n].auth.is_none() {
                    self.phones[n].hurt = true;
                    self.join(n, &mut dice)?;
                }
                let done = self.sync(n, &mut dice, false);
                done.map_err(|e| format!("phone {n} does not sync: {e}"))?;
                if self.phones[n].auth.is_none() {
                    self.join(n, &mut dice)?;
                    let done = self.sync(n, &mut dice, false);
                    done.map_err(|e| format!("phone {n} does not sync: {e}"))?;
                }
                self.note(n)?;
            }
            let now = state(self)?;
            if round > 0 && now == before && now.iter().all(|(_, _, agreed)| *agreed) {
                return Ok(());
            }
        }
        Err("the family does not come to rest".into())
    }

    /// Everything that must hold at the end.
    pub(super) fn judge(&mut self) -> Outcome {
        let mut facts: Facts = self.facts.clone();
        let present = self.phones[0].has.clone();
        for fact in self.facts.keys() {
            if !present.contains(fact) && !self.excused.contains(fact) {
                let there = |slot: &super::world::Slot| slot.has.contains(fact);
                let on: Vec<usize> = (0..self.phones.len())
                    .filter(|n| there(&self.phones[*n]))
                    .collect();
                return Err(format!(
                    "record {fact} was acknowledged and is missing; phones {on:?} have it: {:?}",
                    on.first().map(|n| self.phones[*n].farm().status())
                ));
            }
        }
        facts.retain(|id, _| present.contains(id));
        let model = list(&facts, self.hall.farm);
        let first = self.phones[0].farm();
        let view = first.view().map_err(|e| e.message)?;
        let review = first.review().map_err(|e| e.message)?;
        for n in 0..self.phones.len() {
            let farm = self.phones[n].farm();
            let status = farm.status().map_err(|e| e.message)?;
            if status.waiting != 0 || !status.refused.is_empty() || !status.agreed {
                return Err(format!("phone {n} is not done: {status:?}"));
            }
            same(
                &format!("phone {n}"),
                &view,
                &farm.view().map_err(|e| e.message)?,
            )?;
            if farm.review().map_err(|e| e.message)? != review {
                return Err(format!("phone {n} has another review list"));
            }
            self.check(n)?;
        }
        let replica = self.replica()?;
        same("the server", &view, &replica.view().map_err(|e| e.message)?)?;
        if replica.review().map_err(|e| e.message)? != review {
            return Err("the server has another review list".into());
        }
        first.rebuild().map_err(|e| e.message)?;
        same(
            "a rebuilt book",
            &view,
            &first.view().map_err(|e| e.message)?,
        )?;
        alike(&review, &model)?;
        for line in &model {
            *self.lines.entry(line.kind()).or_default() += 1;
        }
        crate::naive::same(first);
        Ok(())
    }

    /// A replica fed from the server's log.
    fn replica(&self) -> Result<Farm, String> {
        let env = TestEnv::new(pointdown_core::record::Instant::from_ms(self.now), 1);
        let farm = Farm::make(&Location::Memory, env, self.hall.farm).map_err(|e| e.message)?;
        let log: Vec<(DocName, Vec<u8>)> = self
            .hall
            .log()?
            .into_iter()
            .map(|l| (l.doc, l.bytes))
            .collect();
        farm.take(&log)
            .map_err(|e| format!("the server's log: {e}"))?;
        Ok(farm)
    }
}

/// Two books, row by row.
fn same(whose: &str, one: &[String], other: &[String]) -> Outcome {
    if one == other {
        return Ok(());
    }
    let (a, b): (BTreeSet<_>, BTreeSet<_>) = (one.iter().collect(), other.iter().collect());
    let only = |x: &BTreeSet<&String>, y: &BTreeSet<&String>| {
        x.difference(y)
            .next()
            .map_or("nothing".into(), |row| (*row).clone())
    };
    Err(format!(
        "{whose} has another book: here {}, there {}",
        only(&a, &b),
        only(&b, &a)
    ))
}

/// The list of the program against the naive one.
fn alike(review: &[Finding], model: &[Line]) -> Outcome {
    let list: Vec<Line> = review.iter().filter_map(line).collect();
    for (n, ours) in list.iter().enumerate() {
        let theirs = model.iter().find(|l| l.line == ours.line);
        if theirs != Some(ours) {
            return Err(format!(
                "the review list says {ours:?}, the naive model {theirs:?}"
            ));
        }
        if model.get(n).map(|l| &l.line) != Some(&ours.line) {
            return Err(format!(
                "line {n} of the review list is {}, out of order",
                ours.line
            ));
        }
    }
    match model.get(list.len()) {
        None => Ok(()),
        Some(more) => Err(format!("the review list lacks {more:?}")),
    }
}

/// A line as far as the naive model knows it.
fn line(finding: &Finding) -> Option<Line> {
    let mut what = serde_json::to_value(&finding.what).ok()?;
    if let Value::Object(map) = &mut what {
        // Words for people; the state holds what there is to compare.
        map.remove("problem");
        map.remove("why");
    }
    let records: BTreeSet<Id> = finding.records.iter().copied().collect();
    Some(Line {
        line: finding.line.clone(),
        state: finding.state.clone(),
        weight: finding.weight as u8,
        since: finding.since.ms(),
        people: finding.people.iter().copied().collect(),
        records,
        what,
    })
}
