//! The lines of the list.

use std::collections::{BTreeMap, BTreeSet};

use jiff::tz::TimeZone;
use pointdown_core::record::Id;
use serde_json::{Value, json};

use super::eggs::{Ledger, day};
use super::said::Standing;
use super::{Fact, Facts, Stands, number, parts, text};

/// One line, as far as it is compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its name.
    pub line: String,
    /// How it stands.
    pub state: String,
    /// How pressing it is: 0 the most.
    pub weight: u8,
    /// Since when.
    pub since: i64,
    /// Everyone concerned.
    pub people: BTreeSet<Id>,
    /// The records behind it.
    pub records: BTreeSet<Id>,
    /// What it says.
    pub what: Value,
}

impl Line {
    /// The beginning of its name, such as `over` or `rule/soaked`.
    pub fn kind(&self) -> String {
        let words: Vec<&str> = self.line.split('/').collect();
        match words.as_slice() {
            ["rule", rule, ..] => format!("rule/{rule}"),
            [kind, ..] => (*kind).into(),
            [] => String::new(),
        }
    }
}

/// The whole list of a farm: the lines that nobody decided, the most pressing first.
pub fn list(facts: &Facts, farm: Id) -> Vec<Line> {
    let stands = Stands::of(facts);
    let zone = stands.0.get(&farm).filter(|s| s.counts());
    let zone = zone.and_then(|s| TimeZone::get(text(&s.fields, "zone")).ok());
    let writer = Writer {
        zone: zone.unwrap_or(TimeZone::UTC),
        stands,
    };
    let mut all = Vec::new();
    writer.said(&mut all);
    let ledger = Ledger::of(&writer.stands, &writer.zone);
    writer.overdrawn(&ledger, &mut all);
    writer.counted(&ledger, &mut all);
    writer.misdated(&mut all);
    writer.twice(&mut all);
    super::lines::holds::held(&writer, &mut all);
    rules::broken(&writer, farm, &mut all);
    writer.clocks(&mut all);
    writer.set_up(&mut all);
    let decided: BTreeSet<(&str, &str)> = writer
        .stands
        .live("decision")
        .map(|d| (d.fact.text("line"), d.fact.text("state")))
        .collect();
    all.retain(|l| !decided.contains(&(l.line.as_str(), l.state.as_str())));
    all.sort_by(|a, b| (a.weight, -a.since, &a.line).cmp(&(b.weight, -b.since, &b.line)));
    all
}

#[path = "dates.rs"]
mod dates;
#[path = "holds.rs"]
mod holds;
#[path = "rules.rs"]
mod rules;

/// What the lines are made from.
pub(super) struct Writer<'a> {
    pub(super) zone: TimeZone,
    pub(super) stands: Stands<'a>,
}

fn ids(list: &[Id]) -> String {
    let short: Vec<String> = list
        .iter()
        .map(|id| id.to_string()[16..].to_string())
        .collect();
    short.join(" ").chars().take(120).collect()
}

fn people(all: impl IntoIterator<Item = Option<Id>>) -> BTreeSet<Id> {
    all.into_iter().flatten().collect()
}

impl Writer<'_> {
    fn said(&self, all: &mut Vec<Line>) {
        for s in self.stands.0.values() {
            let id = s.fact.id;
            if !s.readable {
                if s.voids.is_empty() {
                    all.push(Line {
                        line: format!("unread/{id}"),
                        state: "-".into(),
                        weight: 2,
                        since: s.fact.logged_at(),
                        people: BTreeSet::new(),
                        records: BTreeSet::from([id]),
                        what: json!({"kind": "cannot_read"}),
                    });
                }
                continue;
            }
            let everyone = || s.amends.iter().chain(&s.voids).copied();
            if s.kind() == "farm" {
                // Someone tried to take the farm's own record away.
                all.extend(s.voids.iter().map(|void| Line {
                    line: format!("farm/{}", void.id),
                    state: "-".into(),
                    weight: 2,
                    since: void.logged_at(),
                    people: people([void.by(), s.by()]),
                    records: BTreeSet::from([void.id, id]),
                    what: json!({"kind": "farm_voided"}),
                }));
            } else if !s.voids.is_empty() {
                self.mended_and_voided(s, all);
                continue;
            }
            for (field, said) in &s.apart {
                let amends: Vec<Id> = said.iter().map(|(id, _)| *id).collect();
                let of = |id: &Id| s.amends.iter().find(|a| a.id == *id);
                all.push(Line {
                    line: format!("field/{id}/{field}"),
                    state: ids(&amends),
                    weight: 1,
                    since: amends
                        .iter()
                        .filter_map(of)
                        .map(|a| a.logged_at())
                        .max()
                        .unwrap_or(0),
                    people: people(amends.iter().filter_map(of).map(|a| a.by())),
                    records: amends.iter().copied().chain([id]).collect(),
                    what: json!({"kind": "disagreement", "field": field,
                        "said": said.iter().map(|(id, v)| (id.to_string(), v.clone()))
                            .collect::<BTreeMap<_, _>>()}),
                });
            }
            if let Some(problem) = s.nonsense() {
                all.push(Line {
                    line: format!("sum/{id}"),
                    state: problem.chars().take(100).collect(),
                    weight: 1,
                    since: everyone().map(Fact::logged_at).max().unwrap_or(s.at),
                    people: people(everyone().map(Fact::by).chain([s.by()])),
                    records: everyone().map(|a| a.id).chain([id]).collect(),
                    what: json!({"kind": "does_not_add_up"}),
                });
            }
        }
    }

    fn mended_and_voided(&self, s: &Standing<'_>, all: &mut Vec<Line>) {
        let unseen: Vec<&Fact> = s
            .amends
            .iter()
            .filter(|amend| !s.voids.iter().any(|void| void.knew(amend.id)))
            .copied()
            .collect();
        let Some(since) = unseen.iter().map(|a| a.logged_at()).max() else {
            return;
        };
        let both: Vec<&Fact> = unseen.iter().chain(&s.voids).copied().collect();
        all.push(Line {
            line: format!("void/{}", s.fact.id),
            state: ids(&both.iter().map(|f| f.id).collect::<Vec<_>>()),
            weight: 1,
            since,
            people: people(both.iter().map(|f| f.by()).chain([s.by()])),
            records: both.iter().map(|f| f.id).chain([s.fact.id]).collect(),
            what: json!({"kind": "amended_and_voided"}),
        });
    }

    fn overdrawn(&self, ledger: &Ledger, all: &mut Vec<Line>) {
        for place in ["basket", "clean", "cartoned"] {
            for (lot, n) in ledger.shelves.get(place).into_iter().flatten() {
                if *n >= 0 {
                    continue;
                }
                let took = ledger
                    .took
                    .get(&(place, lot.clone()))
                    .cloned()
                    .unwrap_or_default();
                let lost = self.lost(place, lot);
                let said = || lost.iter().flat_map(|s| s.amends.iter().chain(&s.voids));
                all.push(Line {
                    line: format!("over/{place}/{lot}"),
                    state: n.to_string(),
                    weight: 1,
                    since: took.last().map_or(946_684_800_000, |(_, _, at)| *at),
                    people: people(
                        took.iter()
                            .map(|(_, by, _)| *by)
                            .chain(lost.iter().map(|s| s.by().filter(|_| s.readable)))
                            .chain(said().map(|f| f.by())),
                    ),
                    records: took
                        .iter()
                        .map(|(id, ..)| *id)
                        .chain(lost.iter().map(|s| s.fact.id))
                        .chain(said().map(|f| f.id))
                        .collect(),
                    what: json!({"kind": "overdraw", "place": place, "lot": lot, "eggs": -n}),
                });
            }
        }
    }

    fn twice(&self, all: &mut Vec<Line>) {
        const HOUR: i64 = 3_600_000;
        let gathers: Vec<&Standing<'_>> = self
            .stands
            .0
            .values()
            .filter(|s| s.kind() == "gather" && s.readable)
            .collect();
        let apart = |a: &Fact, b: &Fact| {
            a.doc != b.doc || !(a.seen.contains(&b.id) || b.seen.contains(&a.id))
        };
        for a in &gathers {
            for b in &gathers {
                let same = ["coop", "species"]
                    .iter()
                    .all(|f| text(&a.fields, f) == text(&b.fields, f));
                let pair = (a.at, a.fact.id) < (b.at, b.fact.id) && b.at - a.at <= HOUR;
                let alike = same && pair && a.fact.text("device") != b.fact.text("device");
                if !alike || !apart(a.fact, b.fact) {
                    continue;
                }
                let (one, two) = (a.fact.id, b.fact.id);
                let line = format!("twice/{one}/{two}");
                match (a.voids.first(), b.voids.first()) {
                    (None, None) => {
                        let (m, n) = (number(&a.fields, "count"), number(&b.fields, "count"));
                        all.push(Line {
                            line,
                            state: format!("{m} {n}"),
                            weight: 1,
                            since: b.at,
                            people: people([a.by(), b.by()]),
                            records: BTreeSet::from([one, two]),
                            what: json!({"kind": "double_log", "counts": [m, n]}),
                        });
                    }
                    (Some(v), Some(w)) if apart(v, w) && v.id != w.id => all.push(Line {
                        line,
                        state: ids(&[v.id, w.id]),
                        weight: 1,
                        since: b.at,
                        people: people([a.by(), b.by(), v.by(), w.by()]),
                        records: BTreeSet::from([one, two, v.id, w.id]),
                        what: json!({"kind": "both_voided"}),
                    }),
                    _ => {}
                }
            }
        }
    }

    fn clocks(&self, all: &mut Vec<Line>) {
        const WEEK: i64 = 7 * 86_400;
        let mut until_now: BTreeMap<&str, i64> = BTreeMap::new();
        // By id: the time of the measurement by the device's own clock.
        for clock in self.stands.live("clock") {
            let (device, until) = (clock.fact.text("device"), clock.fact.made_s);
            let after = until_now.insert(device, until).unwrap_or(until - WEEK);
            let off = number(&clock.fields, "offset_s");
            let dated: Vec<&Standing<'_>> = self
                .stands
                .0
                .values()
                .filter(|s| s.counts() && s.fact.doc != "farm")
                .filter(|s| !matches!(s.kind(), "clock" | "decision" | "amend" | "void"))
                .filter(|s| !device.is_empty() && s.fact.text("device") == device)
                .filter(|s| s.fact.made_s > after && s.fact.made_s <= until)
                .filter(|s| (s.at.div_euclid(1000) - s.fact.made_s).abs() <= 60)
                // A record that was first dated long before or after is dated by hand.
                .filter(|s| {
                    let first = s.fact.logged_at();
                    first >= (after - 60) * 1000 && first <= (until + 60) * 1000
                })
                .collect();
            if off.abs() < 120 || dated.is_empty() {
                continue;
            }
            let records: BTreeSet<Id> = dated.iter().map(|s| s.fact.id).collect();
            all.push(Line {
                line: format!("clock/{}", clock.fact.id),
                state: format!("{off} {}", dated.len()),
                weight: 2,
                since: clock.at,
                people: people(dated.iter().map(|s| s.by())),
                records: records.into_iter().chain([clock.fact.id]).collect(),
                what: json!({"kind": "clock_off", "shift_s": off}),
            });
        }
    }

    fn set_up(&self, all: &mut Vec<Line>) {
        for kind in ["coop", "person", "cooler", "outlet"] {
            let mut called: BTreeMap<String, Vec<&Standing<'_>>> = BTreeMap::new();
            for s in self.stands.live(kind) {
                let retired = text(&s.fields, "retired");
                if retired.is_empty() {
                    let name = text(&s.fields, "name").to_lowercase();
                    called.entry(name).or_default().push(s);
                    continue;
                }
                let set = |f: &&&Fact| !f.fields["set"]["retired"].is_null();
                let retirer = s.amends.iter().rev().find(set);
                for g in self.stands.live("gather").filter(|_| kind == "coop") {
                    let here = text(&g.fields, "coop") == s.fact.id.to_string();
                    if here && day(g.at, &self.zone).as_str() > retired {
                        all.push(Line {
                            line: format!("retired/{}", g.fact.id),
                            state: "-".into(),
                            weight: 2,
                            since: g.at,
                            people: people([g.by(), retirer.and_then(|f| f.by())]),
                            records: retirer
                                .map(|f| f.id)
                                .into_iter()
                                .chain([g.fact.id])
                                .collect(),
                            what: json!({"kind": "retired_use",
                                "species": text(&g.fields, "species")}),
                        });
                    }
                }
            }
            for (name, same) in called.into_iter().filter(|(_, same)| same.len() > 1) {
                let records: BTreeSet<Id> = same.iter().map(|s| s.fact.id).collect();
                let sorted: Vec<Id> = records.iter().copied().collect();
                all.push(Line {
                    line: format!("name/{kind}/{name}"),
                    state: ids(&sorted),
                    weight: 2,
                    since: same.iter().map(|s| s.at).max().unwrap_or(0),
                    people: people(same.iter().map(|s| s.by())),
                    records,
                    what: json!({"kind": "same_name", "name": name}),
                });
            }
        }
    }

    /// The eggs of a coop and species gathered on a day, and those of all coops.
    pub(super) fn gathered(&self, coop: &str, species: &str, of: &str) -> (i64, i64) {
        let mut sums = (0, 0);
        for g in self.stands.live("gather") {
            if text(&g.fields, "species") == species && day(g.at, &self.zone) == of {
                sums.1 += number(&g.fields, "count");
                if text(&g.fields, "coop") == coop {
                    sums.0 += number(&g.fields, "count");
                }
            }
        }
        sums
    }

    /// The eggs of a carton run that are still here.
    pub(super) fn left(&self, run: &Standing<'_>) -> i64 {
        let mut left: BTreeMap<String, i64> = parts(&run.fields).into_iter().collect();
        let id = run.fact.id.to_string();
        for s in self.stands.0.values().filter(|s| s.counts()) {
            if matches!(s.kind(), "out" | "cull") && text(&s.fields, "carton") == id {
                for (lot, n) in parts(&s.fields) {
                    let back = text(&s.fields, "way") == "returned";
                    *left.entry(lot).or_default() += if back { n } else { -n };
                }
            }
        }
        left.values().filter(|n| **n > 0).sum()
    }
}
