//! Answers as lines of text, the same in every language.

use std::collections::HashMap;

use pointdown_native::{
    Choice, Costs, CountOf, Finding, Sheet, SinkAdvice, Stocktake, Taken, Takings, What,
};
use serde::Serialize;
use serde_json::json;

/// A word as records have it.
pub(crate) fn word(of: impl Serialize) -> String {
    json!(of).as_str().expect("a word").to_string()
}

/// A sheet as sorted lines of text.
pub(crate) fn told(sheet: &Sheet) -> Vec<String> {
    let gathered = &sheet.gathered;
    let mut lines = vec![format!(
        "gathered {} floor {}",
        gathered.eggs, gathered.floor_laid
    )];
    for row in &gathered.by_coop {
        let eggs = row.eggs.map_or("unknown".into(), |n| n.to_string());
        let days = &row.days;
        lines.push(format!(
            "coop {} {} {eggs} floor {} rounds {} known {} zero {} unknown {}",
            row.name,
            word(row.species),
            row.floor_laid,
            row.rounds,
            days.known,
            days.zero,
            days.unknown
        ));
    }
    let mut each = |what: &str, all: &HashMap<String, i64>| {
        lines.extend(all.iter().map(|(of, n)| format!("{what} {of} {n}")));
    };
    each("by", &gathered.by_person);
    each("pulled", &sheet.pulled.by_reason);
    each("pulled for", &sheet.pulled.by_use);
    each("washed", &sheet.washed);
    each("candled", &sheet.candled);
    each("out", &sheet.out.eggs);
    each("out in cartons", &sheet.out.cartons);
    for (species, n) in &gathered.by_species {
        lines.push(format!("gathered {} {n}", word(species)));
    }
    for (species, n) in &sheet.unaccounted {
        lines.push(format!("unaccounted {} {n}", word(species)));
    }
    for (species, grams) in &sheet.mean_grams {
        lines.push(format!("mean {} {grams:.2}", word(species)));
    }
    for c in &sheet.cartoned {
        let (species, size) = (word(c.species), &c.size);
        lines.push(format!(
            "cartoned {species} [{size}] {} of {} eggs {}",
            c.cartons, c.eggs_per_carton, c.eggs
        ));
    }
    for here in &sheet.on_hand {
        let lots: Vec<String> = here
            .lots
            .iter()
            .map(|l| format!("{}={}", l.lot, l.eggs))
            .collect();
        let (station, species) = (word(here.station), word(here.species));
        lines.push(format!(
            "on hand {station} {species} {} {}",
            here.eggs,
            lots.join(" ")
        ));
    }
    lines.sort();
    lines
}

fn told_choice(choice: &Choice) -> String {
    match choice {
        Choice::Keep { value_json, .. } => format!("keep {value_json}"),
        Choice::Void { .. } => "void".into(),
        Choice::Restore { .. } => "restore".into(),
        Choice::BothRight => "both_right".into(),
        Choice::Recount { .. } => "recount".into(),
        Choice::RecountAll { .. } => "recount_all".into(),
        Choice::PullHeld { cartons } => format!("pull_held {}", cartons.len()),
        Choice::Shift { by_s, .. } => format!("shift {by_s}"),
        Choice::Retire { .. } => "retire".into(),
        Choice::Seen => "seen".into(),
    }
}

/// A line of the review list as text; the kinds that one phone alone can bring about.
pub(crate) fn told_finding(finding: &Finding) -> String {
    let what = match &finding.what {
        What::HeldEggs {
            on_shelf,
            gone,
            certain,
        } => {
            let shelf: u32 = on_shelf.iter().map(|run| run.cartons).sum();
            format!(
                "held_eggs shelf {shelf} gone {} certain {certain}",
                gone.len()
            )
        }
        What::Overdraw { place, lot, eggs } => format!("overdraw {} {lot} {eggs}", word(place)),
        What::CountOvertaken { counted, then, now } => {
            format!("count_overtaken {counted} {then} {now}")
        }
        What::Breach { rule, .. } => format!("breach {rule}"),
        What::SameName { name } => format!("same_name {name}"),
        What::Misdated { how, .. } => format!("misdated {}", word(how)),
        other => format!("{other:?}"),
    };
    let choices: Vec<String> = finding.choices.iter().map(told_choice).collect();
    format!(
        "{} {what} records {}: {}",
        word(finding.weight),
        finding.records.len(),
        choices.join(", ")
    )
}

fn or_unknown(amount: &Option<String>) -> &str {
    amount.as_deref().unwrap_or("unknown")
}

fn told_taken(who: &str, taken: &Taken) -> String {
    format!(
        "{who} {} back {} sales {} unpriced {} sold {} cartons {} given {} eaten {} returned {} dozen {}",
        taken.taken,
        taken.paid_back,
        taken.sales,
        taken.sales_without_price,
        taken.sold,
        taken.cartons,
        taken.given,
        taken.eaten,
        taken.returned,
        or_unknown(&taken.per_dozen)
    )
}

/// Takings and costs of a span as lines of text.
pub(crate) fn told_money(takings: &Takings, costs: &Costs) -> Vec<String> {
    let mut lines = vec![told_taken("all", &takings.all)];
    for from in &takings.by_outlet {
        lines.push(told_taken(
            from.who.as_deref().unwrap_or("nobody"),
            &from.taken,
        ));
    }
    for kind in &takings.cartons {
        let (mean, lowest, highest) = (&kind.mean, &kind.lowest, &kind.highest);
        lines.push(format!(
            "carton {} {} [{}] {} for {} mean {} from {} to {} unpriced {}",
            word(kind.species),
            kind.eggs_per_carton.unwrap_or(0),
            kind.size.as_deref().unwrap_or(""),
            kind.cartons,
            kind.taken,
            or_unknown(mean),
            or_unknown(lowest),
            or_unknown(highest),
            kind.without_price
        ));
    }
    lines.push(format!(
        "feed {} records {} without {} kg {:.2}",
        costs.feed.cost, costs.feed.records, costs.feed.without_cost, costs.feed_kg
    ));
    for (item, spent) in &costs.supplies {
        let (records, without) = (spent.records, spent.without_cost);
        lines.push(format!(
            "supply {item} {} records {records} without {without}",
            spent.cost
        ));
    }
    lines.push(format!(
        "dozen feed {} supplies {} kg {:.3} of {} gathered unknown {} complete {}",
        or_unknown(&costs.feed_per_dozen),
        or_unknown(&costs.supplies_per_dozen),
        costs.feed_kg_per_dozen.unwrap_or(0.0),
        costs.gathered,
        costs.unknown_flock_days,
        costs.complete
    ));
    lines
}

pub(crate) fn told_sink(advice: &SinkAdvice) -> String {
    let degrees = |c: Option<f64>| c.map_or("none".into(), |c| format!("{c:.1}"));
    let window = advice.window.as_ref();
    let faults: Vec<String> = advice.faults.iter().map(|f| word(f.what)).collect();
    format!(
        "{} window {} to {} temper {} water {} takes {}: {}",
        word(advice.permission),
        degrees(window.map(|w| w.low_c)),
        degrees(window.and_then(|w| w.high_c)),
        degrees(advice.temper_c),
        word(advice.verdict),
        advice.capacity.as_ref().map_or(0, |c| c.eggs),
        faults.join(", ")
    )
}

pub(crate) fn told_stocktake(found: &Stocktake) -> Vec<String> {
    let mut lines = Vec::new();
    for count in &found.counted {
        let of = match &count.of {
            CountOf::OneLot { lot } => lot.clone(),
            CountOf::Whole { species } => word(species),
        };
        lines.push(format!(
            "{of} expected {} counted {} difference {} explained {} asks {}",
            count.expected,
            count.counted,
            count.difference,
            count.explained_by.len(),
            count.line.is_some()
        ));
    }
    let left = found.not_counted.iter();
    lines.extend(left.map(|one| format!("not counted {}={}", one.lot, one.eggs)));
    lines
}
