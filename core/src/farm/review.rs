use std::collections::BTreeMap;

use super::asking::Asking;
use super::facade::Inner;
use super::{ErrorKind, Farm, FarmError};
use crate::book::review::{Finding, OFF_S, undecided};
use crate::ledger::Document;
use crate::mutants::mutant;
use crate::record::{Actor, Body, DocName, Id, InvalidRecord, Lot, Parts};
use crate::store::{StoreError, Tx, Written};

impl Farm {
    /// The lines of the review list that nobody decided yet, the most pressing first.
    pub fn review(&self) -> Result<Vec<Finding>, FarmError> {
        self.lock().review()
    }

    /// The line that people call by its tag or by its whole name. A line that was shown under this
    /// tag and changed since is an error that says so.
    pub fn find_line(&self, text: &str) -> Result<Finding, FarmError> {
        let all = self.review()?;
        let text = text.trim().to_lowercase();
        let called = |f: &&Finding| f.tag() == text || f.line.to_lowercase() == text;
        let found: Vec<&Finding> = all.iter().filter(called).collect();
        match found.as_slice() {
            [one] => return Ok((*one).clone()),
            [] => {}
            more => {
                let names: Vec<&str> = more.iter().map(|f| f.line.as_str()).collect();
                let message = format!("{text:?} may be {}; give the whole name", names.join(", "));
                return Err(FarmError::new(ErrorKind::Ambiguous, message));
            }
        }
        let stem = |tag: &str| tag.split('-').next().map(str::to_string);
        if text.len() == 7 && all.iter().any(|f| stem(&f.tag()) == stem(&text)) {
            return Err(changed(&text));
        }
        Err(gone(&text))
    }
}

/// A line that stands otherwise than when it was shown.
pub(super) fn changed(line: &str) -> FarmError {
    let allowed = "it changed since it was shown: look at the review list again, then decide";
    InvalidRecord::new("line", line, allowed).into()
}

/// A line that is not on the list.
pub(super) fn gone(line: &str) -> FarmError {
    FarmError::new(
        ErrorKind::NotFound,
        format!("the review list has no line {line:?} now: it was decided, or its cause is gone"),
    )
}

/// A hundred years: no clock that anyone lives by is off by more.
const CENTURY_S: i64 = 3_155_760_000;

impl Inner {
    /// See [`Farm::review`].
    pub(super) fn review(&mut self) -> Result<Vec<Finding>, FarmError> {
        let farm = self.me.farm;
        self.store.read(|tx| {
            let chosen: Option<super::take::Chosen> = tx.meta("setting")?;
            let decided = tx.decisions()?;
            let findings = Asking {
                tx,
                farm,
                names: tx.names()?,
                setting: chosen.unwrap_or_default().setting(),
                decided: &decided,
            }
            .everything()?;
            Ok(undecided(findings, &decided))
        })
    }

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
    Ok(!saw(tx, farm, open, one, other)? && !saw(tx, farm, open, other, one)?)
}

/// Whether the writer of one record had seen another of the same document.
pub(super) fn saw(
    tx: &Tx<'_>,
    farm: Id,
    open: &mut BTreeMap<DocName, Document>,
    one: &Written,
    other: &Written,
) -> Result<bool, StoreError> {
    if !open.contains_key(&one.doc) {
        let kept = tx.load_doc(&one.doc)?;
        // Nothing is written into it, so it needs no actor of its own.
        let document = super::take::open(farm, &one.doc, Actor([1; 16]), &kept)
            .map_err(|e| StoreError::Damaged(e.to_string()))?;
        open.insert(one.doc.clone(), document);
    }
    let document = open.get(&one.doc);
    Ok(document.is_some_and(|document| document.saw(&one.hash, &other.hash)))
}

/// The eggs of a carton run that neither left nor were pulled. Summed before anything is cut off at
/// nothing, so that an out beyond what was packed and its return come to the same in any order.
pub(super) fn left_of(tx: &Tx<'_>, run: Id, packed: &Parts) -> Result<Parts, FarmError> {
    let mut left: BTreeMap<Lot, i64> = BTreeMap::new();
    let mut add = |parts: &Parts, sign: i64| {
        for (lot, n) in &parts.0 {
            *left.entry(*lot).or_default() += sign * i64::from(*n);
        }
    };
    add(packed, 1);
    for record in tx.left_run(run)? {
        match record.body {
            Body::Out(out) if out.way == "returned" => add(&out.parts, 1),
            Body::Out(out) => add(&out.parts, -1),
            Body::Cull(cull) => add(&cull.parts, -1),
            _ => {}
        }
    }
    let here = left.into_iter().filter(|(_, n)| *n > 0);
    Ok(Parts(
        here.map(|(lot, n)| (lot, u32::try_from(n).unwrap_or(u32::MAX)))
            .collect(),
    ))
}
