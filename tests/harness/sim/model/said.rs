//! What of each record stands after all that was said about it.

use std::collections::BTreeMap;

use pointdown_core::record::Id;
use serde_json::{Map, Value};

use super::{Fact, Facts, number, text};
use crate::sim::foreign::is_bad;

/// How one record stands.
pub struct Standing<'a> {
    /// The record.
    pub fact: &'a Fact,
    /// With the amendments laid over.
    pub fields: Map<String, Value>,
    /// When it happened.
    pub at: i64,
    /// The voids of it that stand, by id.
    pub voids: Vec<&'a Fact>,
    /// The amendments of it that stand, by id.
    pub amends: Vec<&'a Fact>,
    /// Fields of which people said different things apart.
    pub apart: Vec<(String, Vec<(Id, Value)>)>,
    /// Whether it can be read as a record.
    pub readable: bool,
}

impl Standing<'_> {
    /// Whether it counts. Nobody can take the farm's own record away.
    pub fn counts(&self) -> bool {
        self.readable && (self.voids.is_empty() || self.kind() == "farm")
    }

    /// Its kind.
    pub fn kind(&self) -> &str {
        text(&self.fields, "kind")
    }

    /// Who wrote it, as it stands.
    pub fn by(&self) -> Option<Id> {
        text(&self.fields, "by").parse().ok()
    }

    /// What of its values does not hold together.
    pub fn nonsense(&self) -> Option<String> {
        let n = |name| number(&self.fields, name);
        match self.kind() {
            "gather" if n("floor_laid") > n("count") => Some(format!(
                "floor_laid: {} is not allowed; allowed are at most the {} eggs gathered",
                n("floor_laid"),
                n("count")
            )),
            "carton" => {
                let eggs: i64 = super::parts(&self.fields).iter().map(|(_, n)| n).sum();
                let due = n("eggs_per_carton") * n("cartons");
                (eggs != due).then(|| {
                    format!(
                        "parts: {eggs} eggs is not allowed; allowed are the {due} eggs per carton \
                         times cartons"
                    )
                })
            }
            "hold" => {
                let (from, until) = (text(&self.fields, "from"), text(&self.fields, "until"));
                (!until.is_empty() && until < from).then(|| {
                    format!(
                        "until: {until} is not allowed; allowed is {from} or later, the first day \
                         held"
                    )
                })
            }
            _ => None,
        }
    }
}

/// How every record stands.
pub struct Stands<'a>(pub BTreeMap<Id, Standing<'a>>);

impl<'a> Stands<'a> {
    /// Lays everything that was said over the first facts.
    pub fn of(facts: &'a Facts) -> Stands<'a> {
        let mut about: BTreeMap<Id, Vec<&Fact>> = BTreeMap::new();
        for fact in facts.values() {
            if let (Some(target), "amend" | "void") = (fact.target(), fact.text("kind")) {
                about.entry(target).or_default().push(fact);
            }
        }
        let stands = facts.values().map(|fact| (fact.id, stand(fact, &about)));
        Stands(stands.collect())
    }

    /// Those of one kind that count.
    pub fn live<'s>(&'s self, kind: &'s str) -> impl Iterator<Item = &'s Standing<'a>> {
        self.0
            .values()
            .filter(move |s| s.kind() == kind && s.counts())
    }
}

type About<'a> = BTreeMap<Id, Vec<&'a Fact>>;

/// Whether a record is taken away: by a void that is not taken away itself.
fn taken_away(id: Id, about: &About<'_>) -> bool {
    about.get(&id).is_some_and(|all| {
        let mut voids = all.iter().filter(|f| f.text("kind") == "void");
        voids.any(|void| !taken_away(void.id, about))
    })
}

fn stand<'a>(fact: &'a Fact, about: &About<'a>) -> Standing<'a> {
    let all = about.get(&fact.id).map_or(&[] as &[&Fact], Vec::as_slice);
    let of = |kind: &str| -> Vec<&'a Fact> {
        let mut found: Vec<&Fact> = all
            .iter()
            .filter(|f| f.text("kind") == kind && !taken_away(f.id, about))
            .copied()
            .collect();
        found.sort_by_key(|f| f.id);
        found
    };
    let (voids, amends) = (of("void"), of("amend"));
    let mut by_field: BTreeMap<String, Vec<(&Fact, Value)>> = BTreeMap::new();
    for amend in &amends {
        for (name, value) in amend.fields["set"].as_object().into_iter().flatten() {
            by_field
                .entry(name.clone())
                .or_default()
                .push((amend, value.clone()));
        }
    }
    let mut fields = fact.fields.clone();
    let mut apart = Vec::new();
    if !matches!(fact.text("kind"), "amend" | "void" | "moult") {
        for (name, said) in by_field {
            // The last word is one that nobody who spoke of the field had seen.
            let last: Vec<(Id, Value)> = said
                .iter()
                .filter(|(one, _)| !said.iter().any(|(other, _)| other.knew(one.id)))
                .map(|(one, value)| (one.id, value.clone()))
                .collect();
            match last.last() {
                Some((_, Value::Null)) => drop(fields.remove(&name)),
                Some((_, value)) => drop(fields.insert(name.clone(), value.clone())),
                None => {}
            }
            if last.iter().any(|(_, value)| *value != last[0].1) {
                apart.push((name, last));
            }
        }
    }
    let at = text(&fields, "at").parse::<jiff::Timestamp>();
    let at = at.map_or(fact.logged_at(), |at| at.as_millisecond());
    Standing {
        at,
        voids,
        amends,
        apart,
        readable: !is_bad(&fields),
        fields,
        fact,
    }
}
