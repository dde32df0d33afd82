use std::collections::{BTreeMap, BTreeSet};

use pointdown_core::record::Id;
use serde_json::json;

use super::{Line, Standing, Writer, number, parts, people, text};

/// How eggs stand to a hold: not held, perhaps, all of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Held {
    No,
    Perhaps,
    All,
}

fn lot_held(w: &Writer<'_>, lot: &str, hold: &Standing<'_>) -> Held {
    let mut words = lot.split('/');
    let (day, species) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
    let f = &hold.fields;
    let until = text(f, "until");
    let other = !text(f, "species").is_empty() && text(f, "species") != species;
    if day < text(f, "from") || (!until.is_empty() && day > until) || other {
        return Held::No;
    }
    let coop = text(f, "coop");
    if let Some(of) = words.next().filter(|_| !coop.is_empty()) {
        return if of == coop { Held::All } else { Held::No };
    }
    match coop {
        "" => Held::All,
        coop => match w.gathered(coop, species, day) {
            (0, _) => Held::No,
            (some, all) if some == all => Held::All,
            _ => Held::Perhaps,
        },
    }
}

fn parts_held(w: &Writer<'_>, s: &Standing<'_>, hold: &Standing<'_>) -> Held {
    let all: Vec<Held> = parts(&s.fields)
        .iter()
        .map(|(lot, _)| lot_held(w, lot, hold))
        .collect();
    if all.iter().all(|h| *h == Held::No) {
        Held::No
    } else if all.iter().all(|h| *h == Held::All) {
        Held::All
    } else {
        Held::Perhaps
    }
}

/// Cartons and eggs on their way that someone put on hold.
pub(super) fn held(w: &Writer<'_>, all: &mut Vec<Line>) {
    for hold in w.stands.live("hold") {
        let mut shelf: BTreeMap<Id, i64> = BTreeMap::new();
        let mut gone: BTreeMap<Id, String> = BTreeMap::new();
        let mut of = vec![hold];
        let mut certain = true;
        for run in w.stands.live("carton") {
            let held = parts_held(w, run, hold);
            let full = number(&run.fields, "eggs_per_carton").max(1);
            let here = (w.left(run) + full - 1) / full;
            let here = here.min(number(&run.fields, "cartons"));
            if held != Held::No && here > 0 {
                shelf.insert(run.fact.id, here);
                certain &= held == Held::All;
                of.push(run);
            }
        }
        let mut outs: Vec<&Standing<'_>> = w.stands.live("out").collect();
        outs.sort_by_key(|s| (s.at, s.fact.id));
        let mut order = Vec::new();
        for out in outs {
            let held = parts_held(w, out, hold);
            if text(&out.fields, "way") == "returned" || held == Held::No {
                continue;
            }
            let outlet = text(&out.fields, "outlet").parse::<Id>().ok();
            let outlet = outlet
                .and_then(|id| w.stands.0.get(&id))
                .filter(|s| s.readable);
            let outlet = outlet.map_or("", |s| text(&s.fields, "name"));
            let to = [outlet, text(&out.fields, "to"), text(&out.fields, "way")];
            let to = to.iter().find(|to| !to.is_empty()).map_or("", |to| to);
            gone.insert(out.fact.id, to.to_string());
            order.push(out.fact.id);
            certain &= held == Held::All;
            of.push(out);
        }
        if shelf.is_empty() && gone.is_empty() {
            continue;
        }
        let tail = |id: &Id| id.to_string()[16..].to_string();
        let mut state: Vec<String> = shelf
            .iter()
            .map(|(id, n)| format!("{}={n}", tail(id)))
            .collect();
        state.extend(order.iter().map(tail));
        let texts = |id: &Id| id.to_string();
        all.push(Line {
            line: format!("held/{}", hold.fact.id),
            state: fnv(&state.join(" ")),
            weight: 0,
            // The hold, and the first eggs that it covers.
            since: of[1..].iter().map(|s| s.at).min().unwrap_or(0).max(hold.at),
            people: people(of.iter().map(|s| s.by())),
            records: of.iter().map(|s| s.fact.id).collect::<BTreeSet<Id>>(),
            what: json!({"kind": "held_eggs", "certain": certain,
                "on_shelf": shelf.iter().map(|(id, n)| (texts(id), *n)).collect::<BTreeMap<_, _>>(),
                "gone": gone.iter().map(|(id, to)| (texts(id), to)).collect::<BTreeMap<_, _>>()}),
        });
    }
}

/// FNV-1a over 64 bits, by its published offset basis and prime.
fn fnv(text: &str) -> String {
    let mut hash: u64 = 14_695_981_039_346_656_037;
    for byte in text.bytes() {
        hash = (hash ^ u64::from(byte)).wrapping_mul(1_099_511_628_211);
    }
    format!("{hash:016x}")
}
