use serde::Serialize;
use serde_json::Value;

use super::facade::{Inner, new_id};
use super::names::resolve;
use super::{ErrorKind, Farm, FarmError};
use crate::mutants::mutant;
use crate::record::edits::{Edit, Standing, effective, seen};
use crate::record::{
    Body, COMMON, DocName, Draft, Fields, Id, Instant, InvalidRecord, Kind, Known, Out, Record,
    Where, encode,
};
use crate::store::{Row, Tx};
use crate::trade::Species;

/// A record that is durable now.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Logged {
    /// Its id.
    pub id: Id,
    /// As it stands.
    pub record: Row,
}

impl Farm {
    /// Logs a record: when this returns, it is on the disk, in the book, and on its way to the
    /// server if there is one. A draft that is not allowed changes nothing.
    ///
    /// Coops, people, coolers and outlets may be given by name. An amendment or a void goes through
    /// [`Farm::amend`] or [`Farm::void`].
    pub fn log(&self, draft: Draft) -> Result<Logged, FarmError> {
        match Kind::from_code(&draft.kind) {
            Some(Kind::Amend) => {
                let target = self.find_record(text(&draft.fields, "target")?)?;
                let Some(Value::Object(set)) = draft.fields.get("set") else {
                    return Err(InvalidRecord::missing("set", "allowed are new values").into());
                };
                let why = draft.fields.get("why").and_then(Value::as_str);
                self.amend(target, set.clone(), why)
            }
            Some(Kind::Void) => {
                let target = self.find_record(text(&draft.fields, "target")?)?;
                self.void(target, text(&draft.fields, "why")?)
            }
            _ => self.log_as(draft, None),
        }
    }

    /// Logs later values for fields of a record. `null` takes an optional field away; `at` moves
    /// the event in time.
    pub fn amend(&self, target: Id, set: Fields, why: Option<&str>) -> Result<Logged, FarmError> {
        let mut inner = self.lock();
        let now = self.env.now();
        let (draft, doc) = inner.amendment(self, target, set, why, now)?;
        inner.append(self, draft, None, doc, now)
    }

    /// Says that a record should not stand. Voiding a void undoes it; voiding an amendment takes
    /// its values away. The farm's own record cannot be voided, since everything else is read by
    /// its zone; it can be amended.
    pub fn void(&self, target: Id, why: &str) -> Result<Logged, FarmError> {
        let mut inner = self.lock();
        let now = self.env.now();
        let (draft, doc) = inner.voiding(target, why)?;
        inner.append(self, draft, None, doc, now)
    }

    /// Whether a draft would be logged; an error that names the field where not.
    pub(super) fn allows(&self, draft: &Draft) -> Result<(), FarmError> {
        let now = self.env.now();
        let id = new_id(&*self.env, now.ms());
        self.lock().store.read(|tx| {
            let known = &Here(tx);
            draft.check(id, Where { now, known })?;
            Ok(())
        })
    }

    pub(super) fn log_as(&self, draft: Draft, id: Option<Id>) -> Result<Logged, FarmError> {
        let mut inner = self.lock();
        let now = self.env.now();
        inner.append(self, draft, id, None, now)
    }
}

impl Inner {
    fn standing(&mut self, id: Id) -> Result<Row, FarmError> {
        self.store
            .read::<_, FarmError>(|tx| Ok(tx.record(id)?))?
            .ok_or_else(|| {
                FarmError::new(ErrorKind::NotFound, format!("there is no record {id} here"))
            })
    }

    /// An amendment, held against the record as it would stand, and the document it belongs to
    /// where that is not the month's.
    pub(super) fn amendment(
        &mut self,
        farm: &Farm,
        target: Id,
        mut set: Fields,
        why: Option<&str>,
        now: Instant,
    ) -> Result<(Draft, Option<DocName>), FarmError> {
        let row = self.standing(target)?;
        let kind = match Kind::from_code(&row.kind) {
            Some(kind) if !kind.is_edit() => kind,
            _ => {
                return Err(FarmError::new(
                    ErrorKind::Invalid,
                    format!("a {} cannot be amended; it can be voided", row.kind),
                ));
            }
        };
        let (set, over) = self.store.read::<_, FarmError>(|tx| {
            resolve(tx, kind, &mut set)?;
            let set = Draft::check_values(
                kind,
                &set,
                Where {
                    now,
                    known: &Here(tx),
                },
            )?;
            // Held against the record as it would stand, so that the sums still hold.
            let (base, mut edits) = tx.said_about(target)?.unwrap_or_default();
            let over = seen(target, &edits, Some(&set));
            let mut fields = Fields::new();
            fields.insert("kind".into(), Kind::Amend.code().into());
            fields.insert("target".into(), target.to_string().into());
            fields.insert("set".into(), Value::Object(set.clone()));
            fields.insert("over".into(), over.iter().map(Id::to_string).collect());
            edits.push(Edit {
                id: new_id(&*farm.env, now.ms()),
                fields,
            });
            let then = effective(target, &base, &edits);
            match (then.standing, then.problem) {
                (Standing::Refused(why), _) | (_, Some(why)) => Err(why.into()),
                _ => Ok((set, over)),
            }
        })?;
        let mut draft = Draft::new(Kind::Amend)
            .with("target", target.to_string())
            .with("set", Value::Object(set));
        if !over.is_empty() {
            draft = draft.with("over", over.iter().map(Id::to_string).collect::<Value>());
        }
        if let Some(why) = why {
            draft = draft.with("why", why);
        }
        Ok((draft, row.doc.is_farm().then(DocName::farm)))
    }

    /// A void, and the document it belongs to where that is not the month's.
    pub(super) fn voiding(
        &mut self,
        target: Id,
        why: &str,
    ) -> Result<(Draft, Option<DocName>), FarmError> {
        let row = self.standing(target)?;
        if row.standing == "voided" {
            return Err(FarmError::new(
                ErrorKind::Invalid,
                "this record is voided already",
            ));
        }
        if row.kind == Kind::Farm.code() {
            let allowed = "allowed is any record but the farm's own; amend its fields instead";
            return Err(InvalidRecord::new("target", target, allowed).into());
        }
        let seen = self.store.read::<_, FarmError>(|tx| {
            let edits = tx.said_about(target)?.unwrap_or_default().1;
            Ok(seen(target, &edits, None))
        })?;
        let mut draft = Draft::new(Kind::Void)
            .with("target", target.to_string())
            .with("why", why);
        if !seen.is_empty() {
            draft = draft.with("over", seen.iter().map(Id::to_string).collect::<Value>());
        }
        Ok((draft, row.doc.is_farm().then(DocName::farm)))
    }

    /// A new id of a moment. Records of one moment count in the order of their ids, so it comes
    /// after those that are here, and after `before`: what is logged later at the same minute also
    /// happened later.
    fn id_after(&mut self, farm: &Farm, at: Instant, before: Option<Id>) -> Result<Id, FarmError> {
        let fresh = new_id(&*farm.env, at.ms());
        let (first, last) = (Id::at(at.ms(), [0; 10]), Id::at(at.ms(), [0xff; 10]));
        let here = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.last_id(first, last)?))?
            .max(before.filter(|id| (first..=last).contains(id)));
        let mut random = [0; 6];
        farm.env.fill(&mut random);
        let next = here.filter(|id| *id > fresh).and_then(|id| id.next(random));
        Ok(next.unwrap_or(fresh))
    }

    /// Checks, writes into the document, and commits change, outbox line and book together.
    pub(super) fn append(
        &mut self,
        farm: &Farm,
        draft: Draft,
        id: Option<Id>,
        doc: Option<DocName>,
        now: Instant,
    ) -> Result<Logged, FarmError> {
        let (id, kind, fields) = self.checked(farm, draft, id, None, now)?;
        let doc = doc.unwrap_or_else(|| DocName::home(kind, id));
        let logged = self.commit(&doc, &[(id, fields)], now)?;
        logged.into_iter().next().ok_or_else(not_kept)
    }

    /// Logs several records that happen now and belong in one document in one change: all of them
    /// or none.
    pub(super) fn append_all(
        &mut self,
        farm: &Farm,
        drafts: Vec<Draft>,
        doc: Option<DocName>,
        now: Instant,
    ) -> Result<Vec<Logged>, FarmError> {
        let mut all: Vec<(Id, Fields)> = Vec::new();
        let mut home = doc;
        for draft in drafts {
            let before = all.last().map(|(id, _)| *id);
            let (id, kind, fields) = self.checked(farm, draft, None, before, now)?;
            home = home.or_else(|| Some(DocName::home(kind, id)));
            all.push((id, fields));
        }
        match home {
            Some(doc) => self.commit(&doc, &all, now),
            None => Ok(Vec::new()),
        }
    }

    /// A draft as it is stored, or why it is not allowed.
    fn checked(
        &mut self,
        farm: &Farm,
        mut draft: Draft,
        id: Option<Id>,
        before: Option<Id>,
        now: Instant,
    ) -> Result<(Id, Kind, Fields), FarmError> {
        let at = draft.at.unwrap_or(now);
        let kind = Kind::from_code(&draft.kind);
        if self.me.person.is_none() && kind.is_some_and(|kind| !kind.is_setup()) {
            self.settle_newcomer(farm)?;
        }
        let id = match id {
            Some(id) => id,
            None => self.id_after(farm, at, before)?,
        };
        let me = self.me.clone();
        let fields = self.store.read::<_, FarmError>(|tx| {
            if let Some(kind) = kind {
                let unset = |fields: &Fields, name: &str| !fields.contains_key(name);
                if let Some(person) = me.person.filter(|_| unset(&draft.fields, "by")) {
                    draft.fields.insert("by".into(), person.to_string().into());
                }
                if let Some(device) = me.device {
                    draft
                        .fields
                        .insert("device".into(), device.to_string().into());
                }
                if kind == Kind::Gather
                    && unset(&draft.fields, "apart")
                    && coops_apart(tx, me.farm)?
                {
                    draft.fields.insert("apart".into(), true.into());
                }
                resolve(tx, kind, &mut draft.fields)?;
                if !kind.is_setup() && unset(&draft.fields, "by") {
                    return Err(InvalidRecord::missing("by", COMMON[0].ty.allowed()).into());
                }
            }
            let here = Where {
                now,
                known: &Here(tx),
            };
            let mut fields = draft.check(id, here)?;
            let record = Record::read(id, &fields)?;
            fits(tx, &record)?;
            if let Body::Recount(recount) = &record.body {
                // What the book here says is noted by the program, never by a person.
                let expected = tx.expected(recount, (record.at, id))?;
                fields.insert("expected".into(), expected.into());
            }
            Ok(fields)
        })?;
        Ok((id, kind.unwrap_or(Kind::Gather), fields))
    }

    /// Writes checked records of one document in one change.
    fn commit(
        &mut self,
        doc: &DocName,
        records: &[(Id, Fields)],
        now: Instant,
    ) -> Result<Vec<Logged>, FarmError> {
        let encoded: Vec<_> = records.iter().map(|(id, f)| (*id, encode(f))).collect();
        let made_at = now.ms().div_euclid(1000);
        let (change, entries) = self.document(doc)?.append(&encoded, made_at)?;
        let farm_id = self.me.farm;
        let (touched, logged) = self.write(|tx| {
            tx.add_change(&change)?;
            if super::exchange::joined(tx)? && !mutant("outbox_skipped") {
                tx.send_later(&change.doc, &change.hash)?;
            }
            let touched = super::take::project(tx, farm_id, &entries)?;
            let logged: Result<Vec<Logged>, FarmError> = records
                .iter()
                .map(|(id, _)| {
                    let record = tx.record(*id)?.ok_or_else(not_kept)?;
                    Ok(Logged { id: *id, record })
                })
                .collect();
            Ok((touched, logged?))
        })?;
        self.board.note(&touched, true);
        Ok(logged)
    }
}

fn not_kept() -> FarmError {
    FarmError::new(
        ErrorKind::Damaged,
        "the record was not kept; nothing was logged",
    )
}

fn text<'a>(fields: &'a Fields, name: &str) -> Result<&'a str, FarmError> {
    fields
        .get(name)
        .and_then(Value::as_str)
        .ok_or_else(|| InvalidRecord::missing(name, "it must be given").into())
}

/// Holds a new record against others that it speaks of: what a phone can see does not fit is refused
/// while someone is there to mend it. Records of others are not judged so; the review list does.
pub(super) fn fits(tx: &Tx<'_>, record: &Record) -> Result<(), FarmError> {
    match &record.body {
        Body::Gather(gather) => flock(tx, gather.coop, gather.species),
        Body::Headcount(count) => flock(tx, count.coop, count.species),
        Body::Out(Out {
            carton: Some(run),
            cartons: Some(cartons),
            parts,
            ..
        }) => {
            let Some(Body::Carton(run)) = body_of(tx, *run)? else {
                return Ok(());
            };
            if parts.species() != Some(run.species) {
                return Err(InvalidRecord::new(
                    "parts",
                    parts.species().map_or("none", Species::code),
                    format!(
                        "allowed are the {} eggs of the carton run",
                        run.species.code()
                    ),
                )
                .into());
            }
            let due = cartons.saturating_mul(run.eggs_per_carton);
            if parts.eggs() != due {
                return Err(InvalidRecord::new(
                    "parts",
                    format!("{} eggs", parts.eggs()),
                    format!("allowed are the {due} eggs of {cartons} cartons of the run"),
                )
                .into());
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

fn flock(tx: &Tx<'_>, coop: Id, species: Species) -> Result<(), FarmError> {
    match body_of(tx, coop)? {
        Some(Body::Coop(coop)) if !coop.species.contains(&species) => {
            let known: Vec<_> = coop.species.iter().map(|s| s.code()).collect();
            let allowed = format!("allowed in coop {} are {}", coop.name, known.join(", "));
            Err(InvalidRecord::new("species", species.code(), allowed).into())
        }
        _ => Ok(()),
    }
}

fn body_of(tx: &Tx<'_>, id: Id) -> Result<Option<Body>, FarmError> {
    let row = tx.record(id)?;
    Ok(row
        .and_then(|row| Record::read(row.id, &row.fields).ok())
        .map(|r| r.body))
}

pub(super) fn coops_apart(tx: &Tx<'_>, farm: Id) -> Result<bool, FarmError> {
    let row = tx.record(farm)?;
    Ok(row.is_some_and(|r| r.fields.get("coops_apart") == Some(&Value::Bool(true))))
}

/// What the farm knows, for checking drafts.
pub(super) struct Here<'a>(pub(super) &'a Tx<'a>);

impl Known for Here<'_> {
    fn has(&self, kind: Option<Kind>, id: Id) -> bool {
        self.0.has_record(kind, id).unwrap_or(false)
    }
}
