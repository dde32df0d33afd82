//! Amendments and voids: what of a record stands after all that was said about it.
//!
//! Both are records of their own and never touch the first facts. An amendment names, in `over`,
//! the earlier amendments of its fields that its writer had seen; two that did not see one another
//! are a [`Conflict`], field by field, until a person decides. Nothing here depends on the order
//! in which records arrived.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::draft::{field, kind_of};
use super::field::overlay;
use super::{Amend, Body, FieldType, Fields, Id, InvalidRecord, Kind, Record};
use crate::mutants::mutant;

/// What two people said apart from each other about one field.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Conflict {
    /// The field.
    pub field: String,
    /// Each amendment that nobody has overruled, with its value, oldest first.
    pub said: Vec<(Id, Value)>,
}

/// How a record stands.
#[derive(Debug, Clone, PartialEq)]
pub enum Standing {
    /// It counts.
    Live,
    /// Someone voided it; the void that did, and why.
    Voided {
        /// The record of the void.
        by: Id,
        /// The reason given.
        why: String,
    },
    /// It cannot be read as a record of this version: kept, shown, and counted nowhere.
    Refused(InvalidRecord),
}

/// A record with everything that was said about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Effective {
    /// The first facts with the amendments laid over, as far as they can be read.
    pub fields: Fields,
    /// The same, typed; nothing where it is refused.
    pub record: Option<Record>,
    /// How it stands.
    pub standing: Standing,
    /// Fields that people amended apart from each other.
    pub conflicts: Vec<Conflict>,
    /// Values that each hold alone and do not hold together.
    pub problem: Option<InvalidRecord>,
    /// The amendments and voids of it that nobody voided.
    pub said: Vec<Record>,
}

/// One amendment or void, as stored.
#[derive(Debug, Clone)]
pub struct Edit {
    /// Its own id.
    pub id: Id,
    /// Its own fields.
    pub fields: Fields,
}

/// Lays `edits` (all that reach this record, directly or through one another, in any order) over
/// the first facts of a record.
pub fn effective(id: Id, base: &Fields, edits: &[Edit]) -> Effective {
    let mut amends: BTreeMap<Id, Amend> = BTreeMap::new();
    let mut voids: BTreeMap<Id, (Id, String)> = BTreeMap::new();
    let mut said: Vec<Record> = Vec::new();
    for edit in edits {
        let Ok(record) = Record::read(edit.id, &edit.fields) else {
            continue;
        };
        let direct = match &record.body {
            Body::Amend(a) => a.target == id && amends.insert(edit.id, a.clone()).is_none(),
            Body::Void(v) => {
                voids.insert(edit.id, (v.target, v.why.clone()));
                v.target == id
            }
            _ => false,
        };
        if direct {
            said.push(record);
        }
    }
    let gone = |id: Id| void_of(id, &voids, &mut BTreeSet::new());
    amends.retain(|amend, _| gone(*amend).is_none());
    said.retain(|record| gone(record.id).is_none());
    said.sort_by_key(|record| record.id);

    let kind = kind_of(base);
    // Everything else is read by the farm's zone and rules: a void of them would make every day
    // another one. It stays among what was said, so that the review list can show it.
    let voidable = !matches!(kind, Ok(Kind::Farm));
    let mut conflicts = Vec::new();
    let mut values = Fields::new();
    let overruled: BTreeSet<Id> = amends
        .values()
        .flat_map(|a| a.over.iter().copied())
        .filter(|_| !mutant("over_ignored"))
        .collect();
    for (name, said) in by_field(kind.as_ref().ok().copied(), &amends) {
        // An amendment is overruled for a field only by one that speaks of the same field.
        let standing: Vec<_> = said
            .iter()
            .filter(|(amend, _)| {
                !(overruled.contains(amend)
                    && said
                        .iter()
                        .any(|(other, _)| amends[other].over.contains(amend)))
            })
            .cloned()
            .collect();
        // A hostile circle of amendments that overrule one another leaves all of them standing.
        let standing = if standing.is_empty() { said } else { standing };
        if let Some((_, value)) = standing.last() {
            values.insert(name.clone(), value.clone());
        }
        if standing.iter().any(|(_, value)| *value != standing[0].1) {
            conflicts.push(Conflict {
                field: name,
                said: standing,
            });
        }
    }
    let mut fields = base.clone();
    overlay(&mut fields, &values);

    let read = kind.and_then(|_| Record::read(id, &fields));
    let standing = match (&read, gone(id).filter(|_| voidable)) {
        (_, Some(by)) => {
            let why = voids
                .get(&by)
                .map(|(_, why)| why.clone())
                .unwrap_or_default();
            Standing::Voided { by, why }
        }
        (Err(refused), None) => Standing::Refused(refused.clone()),
        (Ok(_), None) => Standing::Live,
    };
    let record = read.ok();
    let problem = record.as_ref().and_then(|r| r.consistent().err());
    Effective {
        fields,
        record,
        standing,
        conflicts,
        problem,
        said,
    }
}

/// The amendments of a record that speak of any field of `set` (of any field at all, without one):
/// what a new amendment or void has seen, and names in its `over`. The newest 64 where there are
/// more.
pub fn seen(id: Id, edits: &[Edit], set: Option<&Fields>) -> Vec<Id> {
    let target = id.to_string();
    let speaks = |edit: &&Edit| {
        let field = |name: &str| edit.fields.get(name);
        field("target").and_then(Value::as_str) == Some(&target)
            && field("set")
                .and_then(Value::as_object)
                .is_some_and(|theirs| {
                    set.is_none_or(|set| theirs.keys().any(|name| set.contains_key(name)))
                })
    };
    let mut ids: Vec<Id> = edits.iter().filter(speaks).map(|edit| edit.id).collect();
    ids.sort();
    ids.split_off(ids.len().saturating_sub(64))
}

/// What each amendment says about each field that this kind has, oldest first.
fn by_field(
    kind: Option<Kind>,
    amends: &BTreeMap<Id, Amend>,
) -> BTreeMap<String, Vec<(Id, Value)>> {
    let mut said: BTreeMap<String, Vec<(Id, Value)>> = BTreeMap::new();
    let Some(kind) = kind.filter(|k| !k.is_edit()) else {
        return said;
    };
    for (id, amend) in amends {
        for (name, value) in &amend.set {
            let holds = match field(kind, name) {
                Some(spec) if value.is_null() => !spec.required,
                Some(spec) => spec.ty.read(name, value).as_ref() == Ok(value),
                None => name == "at" && FieldType::Instant.read(name, value).is_ok(),
            };
            if holds && name != "device" {
                said.entry(name.clone())
                    .or_default()
                    .push((*id, value.clone()));
            }
        }
    }
    said
}

/// The void that takes a record away, if one stands: a void can be voided in turn.
fn void_of(
    id: Id,
    voids: &BTreeMap<Id, (Id, String)>,
    on_the_way: &mut BTreeSet<Id>,
) -> Option<Id> {
    if !on_the_way.insert(id) {
        return None;
    }
    let by = voids
        .iter()
        .filter(|(_, (target, _))| *target == id)
        .find(|(void, _)| {
            mutant("void_of_void_ignored") || void_of(**void, voids, on_the_way).is_none()
        })
        .map(|(void, _)| *void);
    on_the_way.remove(&id);
    by
}
