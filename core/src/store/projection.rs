use std::collections::BTreeSet;

use rusqlite::{OptionalExtension, params};

use super::recount::Recounts;
use super::rows::id;
use super::stray::SECOND;
use super::{StoreError, Tx};
use crate::book::review::{Setting, breaches, misdated, said};
use crate::book::{Move, lines, moves};
use crate::mutants::mutant;
use crate::record::edits::{Edit, Effective, Standing, effective};
use crate::record::{Actor, DocName, Entry, Fields, Id, InvalidRecord, Kind, Record, Zone, decode};

/// How far edits of edits are followed. People void a void; nobody voids the void of a void of a void
/// sixty times over, and a chain without an end must not cost without an end.
const DEEPEST: usize = 64;

impl Tx<'_> {
    /// Lets entries of new changes into the book, in any order. A write that cannot be a record is
    /// kept as a [`Stray`](super::Stray). Gives the ids of the records that stand differently now.
    pub fn project(
        &self,
        setting: &Setting,
        entries: &[Entry],
    ) -> Result<BTreeSet<Id>, StoreError> {
        let zone = setting.zone;
        let mut touched = BTreeSet::new();
        let mut recounts = Recounts::default();
        for entry in entries {
            touched.extend(self.keep_first_facts(zone, entry, &mut recounts)?);
        }
        self.stand_all(setting, &touched, recounts)?;
        Ok(touched)
    }

    /// Makes everything that is counted anew from the records as they stand, under another setting.
    pub fn count_anew(&self, setting: &Setting) -> Result<(), StoreError> {
        self.sql
            .execute_batch("DELETE FROM move; DELETE FROM balance; DELETE FROM line;")?;
        let ids: Vec<String> = {
            let mut statement = self.sql.prepare_cached("SELECT id FROM record")?;
            let ids = statement.query_map([], |row| row.get(0))?;
            ids.collect::<Result<_, _>>()?
        };
        // Nothing is counted now, so nothing is to be taken back.
        self.sql.execute_batch("UPDATE record SET standing = -1")?;
        let ids = ids.iter().map(|text| id(text)).collect::<Result<_, _>>()?;
        self.stand_all(setting, &ids, Recounts::default())
    }

    /// Lets records stand anew. Those that lean on another record come after all others: the date
    /// on the cartons says whether what was sold of them was sold in time, whichever came first.
    fn stand_all(
        &self,
        setting: &Setting,
        ids: &BTreeSet<Id>,
        mut recounts: Recounts,
    ) -> Result<(), StoreError> {
        for id in ids {
            self.stand_anew(setting, *id, &mut recounts)?;
        }
        for id in ids {
            for record in self.left_run(*id)? {
                self.stand_anew(setting, record.id, &mut recounts)?;
            }
        }
        self.settle_recounts(setting.zone, recounts)
    }

    /// Empties the view; the caller projects all entries again.
    pub fn forget_view(&self) -> Result<(), StoreError> {
        self.sql.execute_batch(
            "DELETE FROM record; DELETE FROM stray; DELETE FROM twin; DELETE FROM move; DELETE FROM balance;
             DELETE FROM line;",
        )?;
        Ok(())
    }

    /// Keeps what was first written under an id; of two writes the one with the lower Lamport
    /// number and actor, which does not depend on the order of arrival. Gives every record that may
    /// stand differently now.
    fn keep_first_facts(
        &self,
        zone: Zone,
        entry: &Entry,
        recounts: &mut Recounts,
    ) -> Result<BTreeSet<Id>, StoreError> {
        let mut touched = BTreeSet::new();
        let (id, kind, fields, base) = match readable(entry) {
            Ok(read) => read,
            Err(why) => {
                self.keep_stray(&entry.doc, &entry.key, entry.op, entry.actor, entry, &why)?;
                return Ok(touched);
            }
        };
        let there: Option<(String, i64, [u8; 16], [u8; 32])> = self
            .sql
            .prepare_cached("SELECT doc, op, actor, hash FROM record WHERE id = ?1")?
            .query_row([id.to_string()], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
            })
            .optional()?;
        if let Some((doc, op, actor, hash)) = there {
            let old_doc: DocName = doc.parse().map_err(StoreError::Damaged)?;
            let old = (op as u64, actor, old_doc.clone());
            let new = (entry.op, entry.actor.0, entry.doc.clone());
            if old == new {
                return Ok(touched);
            }
            if old < new && !mutant("second_facts_win") {
                self.keep_stray(&entry.doc, &entry.key, entry.op, entry.actor, entry, SECOND)?;
                return Ok(touched);
            }
            // An edit that gives way lets go of the record that it spoke of.
            touched = self.spoken_of(id)?;
            let old_entry = Entry {
                hash: crate::record::Hash(hash),
                ..entry.clone()
            };
            self.keep_stray(
                &old_doc,
                &entry.key,
                op as u64,
                Actor(actor),
                &old_entry,
                SECOND,
            )?;
            if let Some((record, moved)) = self.withdraw(zone, id)? {
                recounts.touch(&record, &moved);
            }
        }
        let target = match kind {
            Some(kind) if kind.is_edit() => fields.get("target").and_then(|t| t.as_str()),
            _ => None,
        };
        self.sql
            .prepare_cached(
                "INSERT OR REPLACE INTO record (id, doc, kind, at, day, standing, base, fields,
                     target, op, actor, hash, made_at)
                 VALUES (?1, ?2, '', 0, '', -1, ?3, '', ?4, ?5, ?6, ?7, ?8)",
            )?
            .execute(params![
                id.to_string(),
                entry.doc.as_str(),
                base,
                target,
                entry.op as i64,
                entry.actor.0,
                entry.hash.0,
                entry.made_at,
            ])?;
        touched.extend(self.spoken_of(id)?);
        Ok(touched)
    }

    fn keep_stray(
        &self,
        doc: &DocName,
        key: &str,
        op: u64,
        actor: Actor,
        entry: &Entry,
        why: &str,
    ) -> Result<(), StoreError> {
        self.sql
            .prepare_cached(
                "INSERT OR IGNORE INTO stray (doc, key, op, actor, hash, why)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                doc.as_str(),
                key,
                op as i64,
                actor.0,
                entry.hash.0,
                why
            ])?;
        Ok(())
    }

    /// A record and, if it is an edit, every record up the way that it speaks of.
    fn spoken_of(&self, id: Id) -> Result<BTreeSet<Id>, StoreError> {
        let mut all = BTreeSet::new();
        let mut next = Some(id);
        while let Some(id) = next.filter(|_| all.len() <= DEEPEST) {
            let target: Option<Option<String>> = self
                .sql
                .prepare_cached("SELECT target FROM record WHERE id = ?1")?
                .query_row([id.to_string()], |row| row.get(0))
                .optional()?;
            let Some(target) = target else { break };
            if !all.insert(id) {
                break;
            }
            next = target.and_then(|t| t.parse().ok());
        }
        Ok(all)
    }

    /// The first facts of a record and every edit that reaches it.
    pub fn said_about(&self, id: Id) -> Result<Option<(Fields, Vec<Edit>)>, StoreError> {
        let base: Option<Vec<u8>> = self
            .sql
            .prepare_cached("SELECT base FROM record WHERE id = ?1")?
            .query_row([id.to_string()], |row| row.get(0))
            .optional()?;
        let Some(base) = base else { return Ok(None) };
        let base = decode(&base).map_err(|e| StoreError::Damaged(e.to_string()))?;
        Ok(Some((base, self.edits_of(id)?)))
    }

    /// Every amendment and void that reaches a record, directly or through one another.
    fn edits_of(&self, id: Id) -> Result<Vec<Edit>, StoreError> {
        let mut statement = self.sql.prepare_cached(
            "WITH RECURSIVE reach (id, depth) AS (
                 SELECT id, 1 FROM record WHERE target = ?1
                 UNION SELECT r.id, depth + 1 FROM record r JOIN reach ON r.target = reach.id
                 WHERE depth < ?2)
             SELECT id, base FROM record WHERE id IN (SELECT id FROM reach)",
        )?;
        let all = statement.query_map(params![id.to_string(), DEEPEST as i64], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, Vec<u8>>(1)?))
        })?;
        let mut edits = Vec::new();
        for row in all {
            let (edit, base) = row?;
            if let (Ok(id), Ok(fields)) = (edit.parse(), decode(&base)) {
                edits.push(Edit { id, fields });
            }
        }
        Ok(edits)
    }

    /// Takes what a record did to the book back, then does what it does now.
    fn stand_anew(
        &self,
        setting: &Setting,
        id: Id,
        recounts: &mut Recounts,
    ) -> Result<(), StoreError> {
        let zone = setting.zone;
        if let Some((record, moved)) = self.withdraw(zone, id)? {
            recounts.touch(&record, &moved);
        }
        let Some((base, edits)) = self.said_about(id)? else {
            return Ok(());
        };
        let now = effective(id, &base, &edits);
        let live = matches!(now.standing, Standing::Live);
        let wrong = match &now.record {
            Some(record) if live => {
                let run = self.run_of(record)?;
                let made_s = self.made_at(id)?.unwrap_or(0);
                !breaches(record, setting, run.as_ref()).is_empty()
                    || misdated(record, made_s, zone, run.as_ref()).is_some()
            }
            _ => false,
        };
        let flagged = wrong || !said(&now).is_empty();
        self.write_record(zone, id, &base, &now, flagged)?;
        let Some(record) = now.record.filter(|_| live || mutant("void_counted")) else {
            return Ok(());
        };
        let moved = moves(&record, zone);
        recounts.touch(&record, &moved);
        self.carry(zone, &record, &moved)
    }

    fn write_record(
        &self,
        zone: Zone,
        id: Id,
        base: &Fields,
        now: &Effective,
        flagged: bool,
    ) -> Result<(), StoreError> {
        let kind = base
            .get("kind")
            .and_then(|k| k.as_str())
            .unwrap_or_default();
        let (at, day) = match &now.record {
            Some(record) => (record.at.ms(), zone.day(record.at).to_string()),
            None => (id.unix_ms().unwrap_or(0), String::new()),
        };
        let (standing, why) = match &now.standing {
            Standing::Live => (0, None),
            Standing::Voided { why, .. } => (1, Some(why.clone())),
            Standing::Refused(why) => (2, Some(why.to_string())),
        };
        let conflicts = (!now.conflicts.is_empty()).then(|| as_json(&now.conflicts));
        let problem = now.problem.as_ref().map(InvalidRecord::to_string);
        self.sql
            .prepare_cached(
                "UPDATE record SET kind = ?2, at = ?3, day = ?4, standing = ?5, why = ?6,
                     fields = ?7, conflicts = ?8, problem = ?9, flagged = ?10 WHERE id = ?1",
            )?
            .execute(params![
                id.to_string(),
                kind,
                at,
                day,
                standing,
                why,
                as_json(&now.fields),
                conflicts,
                problem,
                flagged,
            ])?;
        Ok(())
    }

    /// Takes back what a record did to balances and lines; gives it back as it stood.
    fn withdraw(&self, zone: Zone, id: Id) -> Result<Option<(Record, Vec<Move>)>, StoreError> {
        let stood: Option<(String, i64)> = self
            .sql
            .prepare_cached("SELECT fields, standing FROM record WHERE id = ?1")?
            .query_row([id.to_string()], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        let Some((fields, 0)) = stood else {
            return Ok(None);
        };
        let fields: Fields =
            serde_json::from_str(&fields).map_err(|e| StoreError::Damaged(e.to_string()))?;
        let Ok(record) = Record::read(id, &fields) else {
            return Ok(None);
        };
        let moved = self.take_moves(id)?;
        for line in lines(&record, zone, &moved) {
            self.count(&line, -1)?;
        }
        Ok(Some((record, moved)))
    }
}

/// The id, kind and fields that an entry holds, or why it is no record.
#[allow(clippy::type_complexity)]
fn readable(entry: &Entry) -> Result<(Id, Option<Kind>, Fields, Vec<u8>), String> {
    let id: Id = entry
        .key
        .parse()
        .map_err(|_| "its key is no record id".to_string())?;
    if id.to_string() != entry.key {
        return Err("its key is no record id".into());
    }
    let bytes = entry.bytes.as_ref().ok_or("it is no encoded record")?;
    let fields = decode(bytes).map_err(|e| e.to_string())?;
    let kind = fields
        .get("kind")
        .and_then(|k| k.as_str())
        .and_then(Kind::from_code);
    let at_home = match kind {
        Some(kind) if kind.is_edit() => entry.doc.is_farm() || entry.doc == DocName::home(kind, id),
        Some(kind) => entry.doc == DocName::home(kind, id),
        // A kind of a later version: nobody here knows where it belongs.
        None => true,
    };
    if !at_home {
        return Err("it stands in a document where records of its time or kind do not".into());
    }
    Ok((id, kind, fields, bytes.clone()))
}

fn as_json<T: serde::Serialize>(value: &T) -> String {
    // Maps with text keys, numbers and text always have a JSON form.
    serde_json::to_string(value).unwrap_or_default()
}
