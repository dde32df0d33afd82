use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::Serialize;

use super::facts::{overall, printed, share_of};
use super::{Facts, Run, Share};
use crate::book::Place;
use crate::record::{Body, Id, Instant, Lot, Record};
use crate::trade::Species;

/// What to say with every list of people to call.
pub const CALL_CAUTIONS: [&str; 5] = [
    "Whoever has these eggs should not eat, sell or give them on until it is clear what is wrong: \
     set them aside, marked, and bring them back or throw them away in a closed bag.",
    "Anyone who may be ill from them should ask a doctor.",
    "Your food or animal-health authority may have to be told, before or while you call: local rules \
     decide. For medicines the label and a veterinarian do.",
    "Write down whom you reached and what they said; call again those you did not reach.",
    "The list is as good as what was logged: eggs that left without a record are not on it.",
];

/// From what a call-back goes out.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "from", rename_all = "snake_case")]
pub enum Question {
    /// The eggs of a coop, gathered on a span of farm days.
    Coop {
        /// The coop; every coop where there is none.
        coop: Option<Id>,
        /// Only this species.
        species: Option<Species>,
        /// First farm day.
        first: NaiveDate,
        /// Last farm day.
        last: NaiveDate,
    },
    /// A record: a gather, a cleaning batch, a carton run, a hold, or a cooler reading.
    Record {
        /// Which one.
        record: Id,
    },
}

/// What the eggs in question have in common.
#[derive(Debug, Clone, PartialEq)]
pub enum Reach {
    /// They are of these records, or went through them.
    Through(BTreeSet<Id>),
    /// They were on the farm at some time of a span.
    Present {
        /// From then on.
        from: Instant,
        /// Until then.
        to: Instant,
    },
}

/// Every carton that may be concerned, on the shelf and out, and whom to call.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CallBack {
    /// What was asked.
    pub question: Question,
    /// Whom to call: those who surely have such eggs first, then by the latest; last those from whom
    /// everything came back.
    pub people: Vec<Person>,
    /// The carton runs concerned, the latest first, with what is left on the shelf.
    pub runs: Vec<RunReached>,
    /// Eggs that are not packed yet: to be set aside too.
    pub standing: Vec<Standing>,
    /// Eggs that were pulled out of the flow, or missed by a count.
    pub pulled: Vec<Pulled>,
    /// Lots whose records contradict one another; of them times and numbers were not used.
    pub contradicting: Vec<Lot>,
    /// How sure the answer is, in words.
    pub said: Vec<String>,
    /// What a careful person would add.
    pub cautions: Vec<String>,
}

/// Someone who got eggs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Person {
    /// The outlet's name, or whom the record names; nothing where nobody wrote it down.
    pub who: Option<String>,
    /// How to reach them, where that is known.
    pub contact: Option<String>,
    /// The surest of what they have.
    pub share: Share,
    /// Cartons that they got, as logged.
    pub cartons: u32,
    /// Eggs that they got of the lots concerned, at most.
    pub eggs: u32,
    /// Eggs that came back from them.
    pub returned: u32,
    /// Eggs that they may still have: what they got less what came back.
    pub still_out: u32,
    /// What they got or brought back, the earliest first.
    pub outs: Vec<OutReached>,
}

/// Eggs that left, or came back.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutReached {
    /// The record.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// Sold, given, eaten or returned.
    pub way: String,
    /// The outlet.
    pub outlet: Option<Id>,
    /// Who, in words.
    pub who: Option<String>,
    /// The carton run, where the record names it.
    pub run: Option<Id>,
    /// The code on the cartons, logged or not, where the run is known.
    pub code: Option<String>,
    /// Cartons, where they went in cartons.
    pub cartons: Option<u32>,
    /// Eggs of the lots concerned, at most.
    pub eggs: u32,
    /// How sure it is.
    pub share: Share,
}

/// A run of cartons concerned.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RunReached {
    /// The run.
    pub run: Run,
    /// How sure it is.
    pub share: Share,
    /// Eggs left on the shelf, at least and at most.
    pub left: (u32, u32),
    /// Cartons to set aside, at most; an open one counts.
    pub cartons_left: u32,
}

/// Eggs at a station that are not packed, or stand on the shelf without a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// Where.
    pub place: Place,
    /// Which lot.
    pub lot: Lot,
    /// How many of the lot are there.
    pub eggs: i64,
    /// How sure it is.
    pub share: Share,
}

/// Eggs that are out of the flow.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pulled {
    /// The cull, or the recount that missed them.
    pub record: Id,
    /// When.
    pub at: Instant,
    /// What became of them; nothing where a count missed them.
    pub used_for: Option<String>,
    /// How many of the lots concerned, at most.
    pub eggs: u32,
    /// How sure it is.
    pub share: Share,
}

/// The call-back list. `facts` must hold every lot that the eggs in question can be of.
///
/// Linear in the moves of these lots, times what each may have been pooled with.
pub fn call_back(question: Question, reach: &Reach, facts: &Facts) -> CallBack {
    let shares: BTreeMap<Lot, Vec<Option<Share>>> = facts
        .lots
        .iter()
        .map(|(lot, paths)| {
            let shares = match reach {
                Reach::Through(records) => paths.through(records),
                Reach::Present { from, to } => paths.present(*from, *to),
            };
            (*lot, shares)
        })
        .collect();
    let of = |record: Id, lot: &Lot, to: Option<Place>| {
        let (paths, shares) = (facts.lots.get(lot)?, shares.get(lot)?);
        share_of(paths, shares, record, to)
    };
    let mut runs = Vec::new();
    let mut outs = Vec::new();
    let mut pulled = Vec::new();
    for record in facts.records.values() {
        match &record.body {
            Body::Carton(carton) => {
                let lots = carton.parts.0.keys();
                let share = overall(lots.map(|lot| of(record.id, lot, None)));
                runs.extend(share.and_then(|share| reached(facts, record, share)));
            }
            Body::Out(out) => {
                let lots = out.parts.0.keys();
                let touched: BTreeSet<Lot> = lots
                    .clone()
                    .filter(|lot| of(record.id, lot, None).is_some())
                    .copied()
                    .collect();
                if let Some(share) = overall(lots.map(|lot| of(record.id, lot, None))) {
                    outs.extend(out_of(facts, record, share, &touched));
                }
            }
            Body::Cull(cull) => {
                let lots = cull.parts.0.iter();
                let eggs = |(lot, n): (&Lot, &u32)| of(record.id, lot, None).map(|_| *n);
                if let Some(share) = overall(cull.parts.0.keys().map(|l| of(record.id, l, None))) {
                    pulled.push(Pulled {
                        record: record.id,
                        at: record.at,
                        used_for: Some(cull.used_for.clone()),
                        eggs: lots.filter_map(eggs).sum(),
                        share,
                    });
                }
            }
            Body::Recount(_) => pulled.extend(missed(facts, record, &shares)),
            _ => {}
        }
    }
    runs.sort_by_key(|r: &RunReached| std::cmp::Reverse((r.run.at, r.run.record)));
    pulled.sort_by_key(|p: &Pulled| (p.at, p.record));
    let contradicting: Vec<Lot> = facts
        .contradicting()
        .into_iter()
        .filter(|lot| {
            shares
                .get(lot)
                .is_some_and(|s| s.iter().any(Option::is_some))
        })
        .collect();
    let mut list = CallBack {
        question,
        people: people(facts, outs),
        runs,
        standing: standing(facts, &shares),
        pulled,
        contradicting,
        said: Vec::new(),
        cautions: CALL_CAUTIONS.map(str::to_string).to_vec(),
    };
    list.said = said(&list, reach);
    list
}

fn reached(facts: &Facts, record: &Record, share: Share) -> Option<RunReached> {
    let run = facts.run(record)?;
    // Of lots that are not in question nothing was read: what of them is left is not known here.
    let unread: u32 = run
        .lots
        .iter()
        .filter(|(lot, _)| !facts.lots.contains_key(lot))
        .map(|(_, eggs)| eggs)
        .sum();
    let (least, most) = facts.left(record.id);
    let most = if most > 0 { most + unread } else { 0 };
    // Whole cartons that went and did not come back are not here, whatever is in them.
    let here = if facts.agree_on(&run) {
        run.cartons.saturating_sub(facts.gone(record.id))
    } else {
        run.cartons
    };
    let most = most.min(here.saturating_mul(run.eggs_per_carton));
    let left = (least.min(most), most);
    Some(RunReached {
        share,
        cartons_left: left.1.div_ceil(run.eggs_per_carton.max(1)),
        left,
        run,
    })
}

/// An out for a list, with its eggs of these lots.
pub(super) fn out_of(
    facts: &Facts,
    record: &Record,
    share: Share,
    lots: &BTreeSet<Lot>,
) -> Option<OutReached> {
    let Body::Out(out) = &record.body else {
        return None;
    };
    let parts = out.parts.0.iter().filter(|(lot, _)| lots.contains(lot));
    let run = out.carton.and_then(|run| facts.records.get(&run));
    let code = match run.map(|r| &r.body) {
        Some(Body::Carton(carton)) => out.carton.map(|run| printed(carton, run)),
        _ => None,
    };
    Some(OutReached {
        record: record.id,
        at: record.at,
        way: out.way.clone(),
        outlet: out.outlet,
        who: facts.name(out.outlet).or_else(|| out.to.clone()),
        run: out.carton,
        code,
        cartons: out.cartons,
        eggs: parts.map(|(_, n)| n).sum(),
        share,
    })
}

fn missed(
    facts: &Facts,
    record: &Record,
    shares: &BTreeMap<Lot, Vec<Option<Share>>>,
) -> Option<Pulled> {
    let mut eggs = 0;
    let mut all = Vec::new();
    for (lot, paths) in &facts.lots {
        for (step, share) in paths.steps().iter().zip(shares.get(lot)?) {
            if step.record == record.id && step.to == Place::Unaccounted {
                all.push(*share);
                eggs += share.map_or(0, |_| step.eggs);
            }
        }
    }
    Some(Pulled {
        record: record.id,
        at: record.at,
        used_for: None,
        eggs,
        share: overall(all.into_iter())?,
    })
}

fn standing(facts: &Facts, shares: &BTreeMap<Lot, Vec<Option<Share>>>) -> Vec<Standing> {
    let mut all = Vec::new();
    for (lot, paths) in &facts.lots {
        let Some(shares) = shares.get(lot) else {
            continue;
        };
        for place in [Place::Basket, Place::Clean] {
            if let Some(share) = paths.standing(place, shares)
                && paths.balance(place) > 0
            {
                all.push(Standing {
                    place,
                    lot: *lot,
                    eggs: paths.balance(place),
                    share,
                });
            }
        }
    }
    all
}

/// The people on the list, each once.
fn people(facts: &Facts, mut outs: Vec<OutReached>) -> Vec<Person> {
    outs.sort_by_key(|o| (o.at, o.record));
    let mut by_who: BTreeMap<(Option<Id>, Option<String>), Vec<OutReached>> = BTreeMap::new();
    for out in outs {
        let key = match (out.outlet, &out.who) {
            (Some(outlet), _) => (Some(outlet), None),
            (None, Some(who)) => (None, Some(who.trim().to_lowercase())),
            // Eaten at home and given to nobody in particular are two things to ask about.
            (None, None) => (None, Some(format!("\u{0}{}", out.way))),
        };
        by_who.entry(key).or_default().push(out);
    }
    let mut people: Vec<Person> = by_who
        .into_iter()
        .map(|((outlet, _), outs)| {
            let came_back = |o: &&OutReached| o.way == "returned";
            let gone = || outs.iter().filter(|o| !came_back(o));
            let outlet = outlet.and_then(|id| facts.outlets.get(&id));
            let eggs: u32 = gone().map(|o| o.eggs).sum();
            let returned: u32 = outs.iter().filter(came_back).map(|o| o.eggs).sum();
            Person {
                who: outs.iter().find_map(|o| o.who.clone()),
                contact: outlet.and_then(|o| o.contact.clone()),
                share: outs.iter().map(|o| o.share).min().unwrap_or(Share::May),
                cartons: gone().filter_map(|o| o.cartons).sum(),
                eggs,
                returned,
                still_out: eggs.saturating_sub(returned),
                outs,
            }
        })
        .collect();
    people.sort_by_key(|p| {
        let last = p.outs.last().map(|o| (o.at, o.record));
        (p.still_out == 0, p.share, std::cmp::Reverse(last))
    });
    people
}

fn said(list: &CallBack, reach: &Reach) -> Vec<String> {
    let mut said = Vec::new();
    let shares = list.runs.iter().map(|r| r.share);
    let people = list.people.iter().map(|p| p.share);
    let pooled = shares.chain(people).any(|share| share == Share::May);
    said.push(if list.runs.is_empty() && list.people.is_empty() {
        "By the records, no carton and nobody has any of these eggs.".to_string()
    } else if pooled {
        "Eggs were pooled, so nobody can tell which carton holds them. This is the smallest list \
         that is certain to contain every one: `may` marks what may hold some, `all` what holds \
         nothing else."
            .to_string()
    } else {
        "Every carton named holds such eggs and no others.".to_string()
    });
    if matches!(reach, Reach::Present { .. }) {
        said.push(
            "No record says in which cooler eggs stood, or since when it was warm: everything is \
             named that was on the farm between the readings of this cooler before and after."
                .into(),
        );
    }
    if list.people.iter().any(|p| p.returned > 0) {
        said.push(
            "What came back stands beside what was taken, and is back among what is to be set aside \
             here: ask whether anything is still out."
                .into(),
        );
    }
    if !list.contradicting.is_empty() {
        said.push(
            "The records of a lot contradict one another, so neither times nor numbers of it were \
             used: the list is longer than it would have to be."
                .into(),
        );
    }
    said
}
