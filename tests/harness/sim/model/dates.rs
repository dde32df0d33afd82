//! Lines about times that cannot be, and about counts and eggs that something later took away.

use std::collections::BTreeSet;

use serde_json::json;

use super::super::eggs::{Count, Ledger, brought, day};
use super::{Line, Standing, Writer, number, parts, people, text};

const TOLD: [&str; 10] = [
    "amend", "void", "clock", "decision", "farm", "coop", "person", "device", "cooler", "outlet",
];

impl Writer<'_> {
    /// Records that brought eggs of a lot to a place and do not any more.
    pub(super) fn lost(&self, place: &str, lot: &str) -> Vec<&Standing<'_>> {
        let first = lot.split('/').next().unwrap_or("");
        let all = self.stands.0.values().filter(|s| {
            let logged = s.fact.logged_at();
            if day(logged, &self.zone).as_str() < first {
                return false;
            }
            let before = match crate::sim::foreign::is_bad(&s.fact.fields) {
                true => 0,
                false => brought(&s.fact.fields, logged, &self.zone, place, lot),
            };
            let after = match s.counts() {
                true => brought(&s.fields, s.at, &self.zone, place, lot),
                false => 0,
            };
            after < before
        });
        all.collect()
    }

    /// Recounts that differ from the book: those that come out otherwise than when they were logged,
    /// and all others, but for those that answer a line of the list.
    pub(super) fn counted(&self, ledger: &Ledger, all: &mut Vec<Line>) {
        for count in ledger.counts.iter().filter(|count| count.short != 0) {
            let s = &self.stands.0[&count.id];
            let counted = number(&s.fields, "counted");
            let now = counted + count.short;
            let then = s.fields.get("expected").and_then(|n| n.as_i64());
            let mended = self.stands.0.values().any(|a| {
                let set = a.fact.fields.get("set").and_then(|set| set.as_object());
                let about = |name: &&str| set.is_some_and(|set| set.contains_key(*name));
                a.fact.target() == Some(count.id)
                    && ["at", "station", "lot", "species"].iter().any(about)
            });
            match then.filter(|then| *then != now && !mended) {
                Some(then) => all.push(self.overtaken(count, s, (counted, then, now))),
                None if text(&s.fields, "note").starts_with("review: ") => {}
                None => all.push(stocktake(count, s, counted, now)),
            }
        }
    }

    fn overtaken(&self, count: &Count, s: &Standing<'_>, numbers: (i64, i64, i64)) -> Line {
        let (counted, then, now) = numbers;
        let late: Vec<_> = count
            .moved
            .iter()
            .filter(|(other, _)| {
                let same = self.stands.0[other].fact.doc == s.fact.doc;
                same && !s.fact.seen.contains(other)
            })
            .collect();
        Line {
            line: format!("count/{}", count.id),
            state: format!("{counted} {then} {now}"),
            weight: 1,
            since: s.at,
            people: people(late.iter().map(|(_, by)| *by).chain([s.by()])),
            records: late.iter().map(|(id, _)| *id).chain([count.id]).collect(),
            what: json!({"kind": "count_overtaken", "counted": counted, "then": then,
                "now": now}),
        }
    }

    /// Records dated after they were written, or before what they come after.
    pub(super) fn misdated(&self, all: &mut Vec<Line>) {
        let counts = |s: &&Standing<'_>| s.counts() && !TOLD.contains(&s.kind());
        for s in self.stands.0.values().filter(counts) {
            let f = &s.fields;
            let run = text(f, "carton").parse().ok();
            let run = run.and_then(|id| self.stands.0.get(&id));
            let run = run.filter(|run| run.counts() && run.kind() == "carton");
            let later = run.filter(|run| s.at < run.at);
            let ahead = s.at.div_euclid(1000) - s.fact.made_s;
            let first = s.at == s.fact.logged_at() && s.fact.made_s > 0;
            let today = day(s.at, &self.zone);
            let lots = parts(f).into_iter().map(|(lot, _)| lot);
            let mut lots = lots.chain(
                [text(f, "lot").to_string()]
                    .into_iter()
                    .filter(|_| s.kind() == "weigh"),
            );
            let (how, cause) = if first && ahead > 120 {
                ("future", None)
            } else if later.is_some() {
                ("before_packing", later)
            } else if lots.any(|lot| lot.split('/').next() > Some(today.as_str())) {
                ("before_gathering", None)
            } else {
                continue;
            };
            let mut what = json!({"kind": "misdated", "how": how});
            let mut state = s.at.to_string();
            if let Some(cause) = cause {
                what["cause"] = cause.fact.id.to_string().into();
                state.push_str(&format!(" {}", cause.at));
            }
            let both = || [Some(s), cause].into_iter().flatten();
            all.push(Line {
                line: format!("date/{}", s.fact.id),
                state,
                weight: 2,
                since: s.at,
                people: people(both().map(|s| s.by())),
                records: both().map(|s| s.fact.id).collect::<BTreeSet<_>>(),
                what,
            });
        }
    }
}

fn stocktake(count: &Count, s: &Standing<'_>, counted: i64, booked: i64) -> Line {
    let lot = text(&s.fields, "lot");
    let species = match lot {
        "" => text(&s.fields, "species"),
        lot => lot.split('/').nth(1).unwrap_or(""),
    };
    let mut what = json!({"kind": "stocktake", "place": text(&s.fields, "station"),
        "species": species, "counted": counted, "booked": booked, "by_lot": count.laid});
    if !lot.is_empty() {
        what["lot"] = lot.into();
    }
    if let Some(by) = s.by() {
        what["by"] = by.to_string().into();
    }
    Line {
        line: format!("stock/{}", count.id),
        state: format!("{counted} {booked}"),
        weight: 2,
        since: s.at,
        people: people(count.since.iter().map(|(_, by)| *by).chain([s.by()])),
        records: count
            .since
            .iter()
            .map(|(id, _)| *id)
            .chain([count.id])
            .collect(),
        what,
    }
}
