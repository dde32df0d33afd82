use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde_json::Value;

use super::facade::Inner;
use super::log::{Here, coops_apart, fits};
use super::{Env, ErrorKind, Farm, FarmError};
use crate::files::{
    Coop, FileRecords, Format, FromLog, LogPlan, Report, RowError, Stored, WeightUnit, from_log,
    read_records, write_records,
};
use crate::record::{Body, DocName, Draft, Fields, Id, Kind, Record, Where, encode};
use crate::store::{Filter, Location, Row, Tx};

/// Records written in one change; each change travels whole.
const TOGETHER: usize = 200;

impl Farm {
    /// Every record as it was first written, amendments and voids beside them, as CSV or JSON Lines;
    /// of one kind, or all.
    pub fn export_records(&self, form: Format, only: Option<Kind>) -> Result<Vec<u8>, FarmError> {
        let mut inner = self.lock();
        let farm = inner.me.farm;
        let all = inner
            .store
            .read::<_, FarmError>(|tx| Ok(tx.first_facts()?))?;
        let all: Vec<Stored> = all
            .into_iter()
            .map(|facts| Stored {
                doc: facts.doc,
                id: facts.id,
                fields: facts.fields,
            })
            .collect();
        Ok(write_records(form, farm, only, &all)?)
    }

    /// Takes records from CSV or JSON Lines, under the ids that they have. What is here already is
    /// skipped; a row that cannot be taken is named, and the others are taken together or not at
    /// all. With `dry`, nothing is taken; the report is the same.
    ///
    /// # Errors
    /// The file as a whole cannot be read, or is of another farm.
    pub fn import_records(&self, file: &[u8], dry: bool) -> Result<Report, FarmError> {
        let read = read_records(file)?;
        let mut inner = self.lock();
        if read.farm.is_some_and(|farm| farm != inner.me.farm) {
            return Err(FarmError::new(
                ErrorKind::OtherFarm,
                "this file holds records of another farm; nothing was taken",
            ));
        }
        inner.take_records(self, read, dry)
    }

    /// Makes a database for the farm whose records stand in a file, and takes them. The file must hold
    /// the farm's own record.
    pub fn from_records(
        location: &Location,
        env: Arc<dyn Env>,
        file: &[u8],
    ) -> Result<(Farm, Report), FarmError> {
        let read = read_records(file)?;
        let begins = read.farm.filter(|farm| {
            let all = &read.records;
            all.iter().any(|row| row.record.id == *farm)
        });
        let Some(id) = begins else {
            return Err(FarmError::new(
                ErrorKind::NotFound,
                "there is no farm here yet, and the file does not hold the farm's own record; \
                 export all kinds, or begin with a bundle or a backup",
            ));
        };
        // Once in memory, so that a file that cannot be taken leaves no database behind.
        Farm::make(&Location::Memory, env.clone(), id)?.import_records(file, false)?;
        let farm = Farm::make(location, env, id)?;
        let report = farm.import_records(file, false)?;
        Ok((farm, report))
    }

    /// Takes a household's own log: gathers, single egg weights and headcounts, by the columns of the
    /// plan. Their ids follow from farm and content, so that taking a log again, here or on another
    /// phone, adds nothing. They say no person and no device, since nobody knows them. A row that
    /// cannot be taken is named; all others are taken together, or with `dry` none.
    ///
    /// # Errors
    /// The file as a whole cannot be read, or lacks a column of the map.
    pub fn import_log(&self, file: &[u8], plan: &LogPlan, dry: bool) -> Result<Report, FarmError> {
        let mut inner = self.lock();
        let farm = inner.me.farm;
        let (zone, coops, ounces) = inner.store.read::<_, FarmError>(|tx| {
            let ounces = tx.record(farm)?.is_some_and(|r| is(&r, "weight", "oz"));
            Ok((tx.zone()?, coops(tx)?, ounces))
        })?;
        let plan = match plan.unit {
            None if ounces => LogPlan {
                unit: Some(WeightUnit::Ounces),
                ..plan.clone()
            },
            _ => plan.clone(),
        };
        let log = from_log(file, &plan, farm, zone, &coops)?;
        inner.take_log(self, log, dry)
    }
}

fn is(row: &Row, field: &str, word: &str) -> bool {
    row.fields.get(field).and_then(Value::as_str) == Some(word)
}

pub(super) fn live(tx: &Tx<'_>, kind: Kind) -> Result<Vec<Record>, FarmError> {
    let rows = tx.records(&Filter {
        kind: Some(kind),
        ..Filter::default()
    })?;
    let records = rows.iter().map(|row| Record::read(row.id, &row.fields));
    Ok(records.flatten().collect())
}

/// The coops in use.
fn coops(tx: &Tx<'_>) -> Result<Vec<Coop>, FarmError> {
    let all = live(tx, Kind::Coop)?.into_iter();
    Ok(all
        .filter_map(|record| match record.body {
            Body::Coop(coop) if coop.retired.is_none() => Some(Coop {
                id: record.id,
                name: coop.name,
                species: coop.species,
            }),
            _ => None,
        })
        .collect())
}

/// A record that is to be written.
struct New {
    doc: DocName,
    id: Id,
    fields: Fields,
}

impl Inner {
    fn take_records(
        &mut self,
        farm: &Farm,
        read: FileRecords,
        dry: bool,
    ) -> Result<Report, FarmError> {
        let mut report = Report {
            read: read.read,
            errors: read.errors,
            ..Report::default()
        };
        let mut new: BTreeMap<Id, New> = BTreeMap::new();
        let ids: Vec<Id> = read.records.iter().map(|row| row.record.id).collect();
        let here = self.store.read::<_, FarmError>(|tx| {
            let all = ids.into_iter().map(|id| Ok(tx.first_facts_of(id)?));
            all.collect::<Result<Vec<_>, FarmError>>()
        })?;
        for (row, here) in read.records.into_iter().zip(here) {
            let Stored { doc, id, fields } = row.record;
            let here = here
                .map(|facts| facts.fields)
                .or_else(|| new.get(&id).map(|new| new.fields.clone()));
            match here {
                None => {
                    report.added += 1;
                    new.insert(id, New { doc, id, fields });
                }
                Some(here) if here == fields => report.skipped += 1,
                Some(_) => report.errors.push(RowError {
                    row: row.row,
                    why: format!("another record stands under the id {id}; amend it instead"),
                }),
            }
        }
        report.errors.sort();
        if !dry {
            self.write_new(farm, new.into_values().collect())?;
        }
        Ok(report)
    }

    fn take_log(&mut self, farm: &Farm, log: FromLog, dry: bool) -> Result<Report, FarmError> {
        let now = farm.env.now();
        let me = self.me.farm;
        let mut report = Report {
            read: log.read,
            skipped: log.empty,
            errors: log.errors,
            ..Report::default()
        };
        let new = self.store.read::<_, FarmError>(|tx| {
            let apart = coops_apart(tx, me)?;
            let mut new = Vec::new();
            let mut refused = BTreeSet::new();
            let mut coops: BTreeMap<Id, Fields> = BTreeMap::new();
            for (row, id, draft) in &log.coops {
                if tx.first_facts_of(*id)?.is_some() {
                    continue;
                }
                match draft.check(
                    *id,
                    Where {
                        now,
                        known: &Here(tx),
                    },
                ) {
                    Ok(fields) => drop(coops.insert(*id, fields)),
                    Err(e) => {
                        refused.insert(*row);
                        report.errors.push(RowError {
                            row: *row,
                            why: e.to_string(),
                        });
                    }
                }
            }
            let known = Also { tx, coops: &coops };
            let mut used = Vec::new();
            for (row, records) in log.rows {
                if refused.contains(&row) {
                    continue;
                }
                let mut fresh = Vec::new();
                let mut wrong = None;
                for (id, mut draft) in records {
                    if tx.first_facts_of(id)?.is_some() {
                        continue;
                    }
                    if apart && draft.kind == Kind::Gather.code() {
                        draft.fields.insert("apart".into(), true.into());
                    }
                    match checked(tx, &draft, id, Where { now, known: &known }) {
                        Ok(one) => fresh.push(one),
                        Err(e) => wrong = Some(e.message),
                    }
                }
                match wrong {
                    Some(why) => report.errors.push(RowError { row, why }),
                    None if fresh.is_empty() => report.skipped += 1,
                    None => {
                        report.added += 1;
                        used.extend(fresh.iter().filter_map(|new: &New| coop_of(&new.fields)));
                        new.extend(fresh);
                    }
                }
            }
            coops.retain(|id, _| used.contains(id));
            new.extend(coops.into_iter().map(|(id, fields)| New {
                doc: DocName::farm(),
                id,
                fields,
            }));
            Ok(new)
        })?;
        report.errors.sort();
        if !dry {
            self.write_new(farm, new)?;
        }
        Ok(report)
    }

    /// Writes records into their documents, and commits changes, outbox lines and book together.
    fn write_new(&mut self, farm: &Farm, new: Vec<New>) -> Result<(), FarmError> {
        if new.is_empty() {
            return Ok(());
        }
        let made_at = farm.env.now().ms().div_euclid(1000);
        let mut by_doc: BTreeMap<DocName, Vec<(Id, Vec<u8>)>> = BTreeMap::new();
        for one in new {
            let bytes = encode(&one.fields);
            by_doc.entry(one.doc).or_default().push((one.id, bytes));
        }
        let (mut changes, mut entries) = (Vec::new(), Vec::new());
        for (doc, mut records) in by_doc {
            records.sort();
            for some in records.chunks(TOGETHER) {
                let written = self
                    .document(&doc)
                    .and_then(|d| Ok(d.append(some, made_at)?));
                let (change, wrote) = written.inspect_err(|_| self.docs.clear())?;
                changes.push(change);
                entries.extend(wrote);
            }
        }
        let me = self.me.farm;
        let touched = self.write(|tx| {
            let joined = super::exchange::joined(tx)?;
            for change in &changes {
                tx.add_change(change)?;
                if joined {
                    tx.send_later(&change.doc, &change.hash)?;
                }
            }
            super::take::project(tx, me, &entries)
        })?;
        self.board.note(&touched, true);
        Ok(())
    }
}

fn coop_of(fields: &Fields) -> Option<Id> {
    let named = fields.get("coop").and_then(Value::as_str)?;
    named.parse().ok()
}

fn checked(tx: &Tx<'_>, draft: &Draft, id: Id, here: Where<'_>) -> Result<New, FarmError> {
    let fields = draft.check(id, here)?;
    let record = Record::read(id, &fields)?;
    fits(tx, &record)?;
    Ok(New {
        doc: DocName::home(record.body.kind(), id),
        id,
        fields,
    })
}

/// What the farm knows, and coops that are added with the same file.
struct Also<'a> {
    tx: &'a Tx<'a>,
    coops: &'a BTreeMap<Id, Fields>,
}

impl crate::record::Known for Also<'_> {
    fn has(&self, kind: Option<Kind>, id: Id) -> bool {
        let new = self.coops.contains_key(&id) && kind.is_none_or(|kind| kind == Kind::Coop);
        new || Here(self.tx).has(kind, id)
    }
}
