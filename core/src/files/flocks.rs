//! Where the rows of a log belong, and the records that they become.

use std::collections::BTreeMap;

use chrono::NaiveTime;
use serde_json::Value;

use super::raw::{Coop, Raw};
use super::{LogPlan, ids};
use crate::record::{Draft, Fields, Id, Instant, Kind, Lot, Zone};
use crate::trade::Species;

/// A row whose coop, species and moment are known.
pub(super) struct Placed {
    raw: Raw,
    at: Instant,
    coop: Id,
    species: Species,
}

/// The flocks of the farm, and those that the log adds.
pub(super) struct Flocks<'a> {
    zone: Zone,
    known: &'a [Coop],
    fresh: BTreeMap<String, Fresh>,
}

/// A coop that the farm does not know.
struct Fresh {
    id: Id,
    name: String,
    row: usize,
    at: Instant,
    species: Vec<Species>,
}

const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

impl<'a> Flocks<'a> {
    /// With `new_coops`, a coop begins on the first day that the log has of it.
    pub(super) fn new(
        plan: &'a LogPlan,
        farm: Id,
        zone: Zone,
        known: &'a [Coop],
        raws: &[Raw],
    ) -> Flocks<'a> {
        let mut fresh = BTreeMap::new();
        for raw in raws.iter().filter(|_| plan.new_coops) {
            let Some(name) = &raw.coop else { continue };
            let key = name.to_lowercase();
            if known.iter().any(|coop| coop.name.to_lowercase() == key) {
                continue;
            }
            let Some(at) = zone.moment(raw.day, NOON) else {
                continue;
            };
            let coop = fresh.entry(key).or_insert_with(|| Fresh {
                id: farm,
                name: name.clone(),
                row: raw.row,
                at,
                species: Vec::new(),
            });
            coop.at = coop.at.min(at);
        }
        for (key, coop) in &mut fresh {
            let mut fields = Fields::new();
            fields.insert("name".into(), key.as_str().into());
            coop.id = ids::of_row(farm, Kind::Coop.code(), coop.at, &fields, 0);
        }
        Flocks { zone, known, fresh }
    }

    pub(super) fn place(&mut self, raw: Raw) -> Result<Placed, String> {
        let time = raw.time.unwrap_or(NOON);
        let at = self
            .zone
            .moment(raw.day, time)
            .ok_or_else(|| format!("the clocks in {} skip {time} on {}", self.zone, raw.day))?;
        let names = || {
            let mut names: Vec<&str> = self.known.iter().map(|c| c.name.as_str()).collect();
            names.sort_unstable();
            match names.is_empty() {
                true => "the farm knows none yet".to_string(),
                false => format!("the farm knows {}", names.join(", ")),
            }
        };
        let name = match (&raw.coop, self.known) {
            (Some(name), _) => name.clone(),
            (None, [only]) => only.name.clone(),
            (None, _) => return Err(format!("no coop is named; {}", names())),
        };
        let key = name.to_lowercase();
        let found: Vec<&Coop> = self
            .known
            .iter()
            .filter(|coop| coop.name.to_lowercase() == key)
            .collect();
        let (coop, species) = match found.as_slice() {
            [coop] => {
                let held: Vec<_> = coop.species.iter().map(|s| s.code()).collect();
                let held = held.join(" and ");
                let species = match (raw.species, coop.species.as_slice()) {
                    (Some(species), all) if all.contains(&species) => species,
                    (Some(species), _) => {
                        return Err(format!(
                            "species {:?} is not allowed; coop {} holds {held}",
                            species.code(),
                            coop.name
                        ));
                    }
                    (None, [only]) => *only,
                    (None, _) => {
                        return Err(format!(
                            "no species is named; coop {} holds {held}",
                            coop.name
                        ));
                    }
                };
                (coop.id, species)
            }
            [] => {
                let Some(coop) = self.fresh.get_mut(&key) else {
                    return Err(format!("coop {name:?} is not known; {}", names()));
                };
                let species = raw.species.ok_or_else(|| {
                    format!(
                        "no species is named, and coop {name:?} is new: say which birds it holds"
                    )
                })?;
                if !coop.species.contains(&species) {
                    coop.species.push(species);
                }
                (coop.id, species)
            }
            more => return Err(format!("{} coops are called {name:?}", more.len())),
        };
        Ok(Placed {
            raw,
            at,
            coop,
            species,
        })
    }

    /// The coops that rows were placed in.
    pub(super) fn added(&self) -> Vec<(usize, Id, Draft)> {
        let used = self.fresh.values().filter(|coop| !coop.species.is_empty());
        used.map(|coop| {
            let mut species: Vec<&str> = coop.species.iter().map(|s| s.code()).collect();
            species.sort_unstable();
            let draft = Draft::new(Kind::Coop)
                .with("name", coop.name.clone())
                .with(
                    "species",
                    species.into_iter().map(Value::from).collect::<Value>(),
                )
                .at(coop.at);
            (coop.row, coop.id, draft)
        })
        .collect()
    }
}

/// The records of each row.
pub(super) fn drafts(farm: Id, placed: Vec<Placed>) -> BTreeMap<usize, Vec<(Id, Draft)>> {
    let mut said: BTreeMap<String, u32> = BTreeMap::new();
    let mut named = |at: Instant, draft: Draft| {
        let key = format!("{at} {} {:?}", draft.kind, draft.fields);
        let before = said.entry(key).or_default();
        let id = ids::of_row(farm, &draft.kind, at, &draft.fields, *before);
        *before += 1;
        (id, draft.at(at))
    };
    let changed = headcounts(&placed);
    let mut rows: BTreeMap<usize, Vec<(Id, Draft)>> = BTreeMap::new();
    for (
        n,
        Placed {
            raw,
            at,
            coop,
            species,
        },
    ) in placed.into_iter().enumerate()
    {
        let mut all = Vec::new();
        let flock = |kind: Kind| {
            Draft::new(kind)
                .with("coop", coop.to_string())
                .with("species", species.code())
        };
        if let Some(eggs) = raw.eggs {
            all.push((at, flock(Kind::Gather).with("count", eggs)));
        }
        if !raw.weights.is_empty() {
            let lot = Lot {
                day: raw.day,
                species,
                coop: Some(coop),
            };
            let draft = Draft::new(Kind::Weigh).with("lot", lot.to_string()).with(
                "grams",
                raw.weights
                    .iter()
                    .map(|g| Value::from(*g))
                    .collect::<Value>(),
            );
            all.push((at, draft));
        }
        if let (Some(birds), Some(at)) = (raw.birds, changed.get(&n)) {
            all.push((*at, flock(Kind::Headcount).with("birds", birds)));
        }
        if let (Some(note), Some((_, first))) = (raw.note, all.first_mut()) {
            first.fields.insert("note".into(), note.into());
        }
        let all = all
            .into_iter()
            .map(|(at, draft)| named(at, draft))
            .collect();
        rows.insert(raw.row, all);
    }
    rows
}

/// The rows, by their place, whose number of birds is another than the one before it in time, each
/// with its moment. A household writes the same number on every line; one headcount says it as well.
/// Two of one moment stand a millisecond apart, in the order of the file.
fn headcounts(placed: &[Placed]) -> BTreeMap<usize, Instant> {
    let mut order: Vec<usize> = (0..placed.len()).collect();
    order.sort_by_key(|n| (placed[*n].at, *n));
    let mut last: BTreeMap<(Id, Species), (u32, Instant)> = BTreeMap::new();
    let mut changed = BTreeMap::new();
    for n in order {
        let row = &placed[n];
        let Some(birds) = row.raw.birds else { continue };
        let flock = (row.coop, row.species);
        let at = match last.get(&flock) {
            Some((before, _)) if *before == birds => continue,
            Some((_, before)) if *before >= row.at => before.plus_ms(1),
            _ => row.at,
        };
        last.insert(flock, (birds, at));
        changed.insert(n, at);
    }
    changed
}
