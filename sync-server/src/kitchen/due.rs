//! What is due next: one group for each thing to do, its lines by when, and each rule behind it told
//! once.

use std::collections::BTreeMap;

use maud::{Markup, html};
use pointdown_core::book::due::{Due, Now, What};
use pointdown_core::record::{Instant, Zone};

use super::words::Words;

/// The most lines of a group that stand open; the others are a tap away.
const MOST: usize = 3;

/// What is due within so many milliseconds stands open; the rest is later.
const SOON_MS: i64 = 3 * 24 * 3_600_000;

/// What of the same kind is due.
pub(super) struct Group<'a> {
    pub(super) what: What,
    pub(super) lines: Vec<&'a Due>,
    /// Each rule with its source, in the order in which they first come up.
    pub(super) why: Vec<(&'a str, &'a str)>,
    pub(super) cautions: Vec<&'a str>,
}

/// The lines in groups: what holds already first, such as held eggs, then what comes first.
pub(super) fn groups(now: &Now) -> Vec<Group<'_>> {
    let mut by: BTreeMap<What, Group<'_>> = BTreeMap::new();
    let mut order = Vec::new();
    for line in &now.due {
        let group = by.entry(line.what).or_insert_with(|| {
            order.push(line.what);
            Group {
                what: line.what,
                lines: Vec::new(),
                why: Vec::new(),
                cautions: Vec::new(),
            }
        });
        group.lines.push(line);
        for why in &line.why {
            let told = (why.rule.as_str(), why.source.as_str());
            if !group.why.contains(&told) {
                group.why.push(told);
            }
        }
        if !line.caution.is_empty() && !group.cautions.contains(&line.caution.as_str()) {
            group.cautions.push(&line.caution);
        }
    }
    order.sort_by_key(|what| !since(*what));
    order
        .into_iter()
        .filter_map(|what| by.remove(&what))
        .collect()
}

fn code(what: What) -> &'static str {
    match what {
        What::SetApart => "set_apart",
        What::Cooler => "cooler",
        What::Chill => "chill",
        What::Wash => "wash",
        What::Candle => "candle",
        What::Pack => "pack",
        What::Sell => "sell",
        What::BestBy => "best_by",
        What::HoldEnds => "hold_ends",
        What::Brush => "brush",
    }
}

/// What begins at its moment instead of having to be done by then.
fn since(what: What) -> bool {
    matches!(what, What::SetApart | What::Cooler)
}

pub(super) fn due(words: Words, zone: Zone, now: &Now) -> Markup {
    let groups = groups(now);
    let (soon, later): (Vec<_>, Vec<_>) = groups.iter().partition(|group| {
        let first = group.lines.iter().filter_map(|line| line.due).min();
        since(group.what) || first.is_some_and(|due| due.ms() - now.at.ms() < SOON_MS)
    });
    let names: Vec<String> = later
        .iter()
        .map(|group| words.t(&format!("kitchen.due.later.{}", code(group.what))))
        .collect();
    html! {
        section class="card due" aria-labelledby="due" {
            h2 id="due" { (words.t("kitchen.due")) }
            @if groups.is_empty() { p class="about" { (words.t("kitchen.due.none")) } }
            @for group in &soon { (one(words, zone, group)) }
            @if !later.is_empty() {
                details class="later" id="later" {
                    summary {
                        (words.fill("kitchen.due.later", &[("what", &words.list(&names))]))
                    }
                    @for group in &later { (one(words, zone, group)) }
                }
            }
            p class="about small" lang="en" { (now.caution) }
        }
    }
}

fn one(words: Words, zone: Zone, group: &Group<'_>) -> Markup {
    let late = group.lines.iter().filter(|l| l.overdue).count();
    let now_or_never = since(group.what) || late > 0;
    let (open, more) = group.lines.split_at(group.lines.len().min(MOST));
    let row = |line: &Due| row(words, zone, line);
    html! {
        div class=(if now_or_never { "group late" } else { "group" }) {
            h3 { (words.t(&format!("kitchen.due.{}", code(group.what)))) }
            ul class="rows" { @for line in open { (row(line)) } }
            @if !more.is_empty() {
                details class="more" id={ "more-" (code(group.what)) } {
                    summary { (words.n("kitchen.due.more", more.len() as i64, &[])) }
                    ul class="rows" { @for line in more { (row(line)) } }
                }
            }
            @if !group.why.is_empty() || !group.cautions.is_empty() {
                details class="why" id={ "why-" (code(group.what)) } {
                    summary { (words.t("why")) }
                    ul lang="en" {
                        @for (rule, source) in &group.why { li { (rule) " (" (source) ")" } }
                    }
                    @for caution in &group.cautions { p class="caution" lang="en" { (caution) } }
                }
            }
        }
    }
}

fn row(words: Words, zone: Zone, line: &Due) -> Markup {
    let held = line
        .held
        .is_some_and(|share| share == pointdown_core::book::trace::Share::May);
    html! {
        li class=[(line.overdue && !since(line.what)).then_some("late")] {
            span {
                (what(words, line))
                @if held { small { (words.t("kitchen.due.may_be_held")) } }
            }
            span class="when" {
                (when(words, zone, line))
                @if line.overdue && !since(line.what) { strong { (words.t("kitchen.due.overdue")) } }
            }
        }
    }
}

fn what(words: Words, line: &Due) -> String {
    let mut parts = Vec::new();
    if line.cartons > 0 {
        parts.push(words.n("kitchen.due.cartons", i64::from(line.cartons), &[]));
    }
    let mut eggs = match (line.species, line.eggs) {
        (None, 0) => String::new(),
        (None, n) => words.n("kitchen.due.eggs", n, &[]),
        (Some(species), 0) => words.species(species),
        (Some(species), n) => words.n(
            "kitchen.due.eggs_of",
            n,
            &[("species", &words.species(species))],
        ),
    };
    if let Some(lot) = line.lot {
        let day = words.short_day(lot.day);
        eggs = format!("{eggs} {}", words.fill("kitchen.due.of", &[("day", &day)]));
    }
    parts.push(eggs.trim().to_owned());
    parts.extend(line.code.clone());
    parts.extend(line.name.clone());
    if let Some(place) = line.place.filter(|_| line.cartons == 0) {
        parts.push(words.t(&format!("flow.{}", place.code())));
    }
    parts.retain(|part| !part.is_empty());
    parts.join(" · ")
}

/// Until when; a limit in days ends with its last day.
fn when(words: Words, zone: Zone, line: &Due) -> String {
    let Some(at) = line.due else {
        return words.t("kitchen.due.no_date");
    };
    let whole_days = matches!(
        line.what,
        What::Pack | What::Sell | What::BestBy | What::HoldEnds
    );
    if since(line.what) {
        let moment = words.moment(at, zone);
        return words.fill("kitchen.due.since", &[("at", &moment)]);
    }
    if whole_days {
        let last = zone.day(Instant::from_ms(at.ms() - 1));
        return words.short_day(last);
    }
    words.moment(at, zone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kitchen::words::Language;
    use pointdown_core::trade::{Mark, Reason, Species};

    const DAY: i64 = 24 * 3_600_000;

    fn line(what: What, days: i64, rules: &[&str]) -> Due {
        let why = rules
            .iter()
            .map(|r| Reason::new(*r, "a source", Mark::CommonPractice));
        Due {
            what,
            due: Some(Instant::from_ms(days * DAY)),
            overdue: days < 0,
            place: None,
            species: Some(Species::Hen),
            lot: None,
            run: None,
            code: None,
            name: None,
            eggs: 12,
            cartons: 0,
            laid: None,
            age_minutes: None,
            held: None,
            why: why.collect(),
            caution: "measure".into(),
        }
    }

    fn now(due: Vec<Due>) -> Now {
        Now {
            at: Instant::from_ms(0),
            rules: None,
            here: Vec::new(),
            due,
            caution: String::new(),
        }
    }

    #[test]
    fn a_reason_is_told_once_for_all_lines_of_a_group() {
        let now = now(vec![
            line(What::Chill, -1, &["cold within a day and a half"]),
            line(What::Wash, 1, &["clean soon"]),
            line(
                What::Chill,
                1,
                &["cold within a day and a half", "for ducks a guide"],
            ),
        ]);
        let groups = groups(&now);
        let found: Vec<_> = groups
            .iter()
            .map(|g| (g.what, g.lines.len(), g.why.len()))
            .collect();
        assert_eq!(found, [(What::Chill, 2, 2), (What::Wash, 1, 1)]);
        let words = Words {
            language: Language::English,
            american: true,
        };
        let held = super::groups(&self::now(vec![
            line(What::Wash, -1, &[]),
            line(What::SetApart, 0, &[]),
        ]))
        .iter()
        .map(|g| g.what)
        .collect::<Vec<_>>();
        assert_eq!(held, [What::SetApart, What::Wash]);
        let text = due(words, Zone::UTC, &now).into_string();
        assert_eq!(text.matches("cold within a day and a half").count(), 1);
        assert_eq!(text.matches("measure").count(), 2, "a caution once a group");
        assert_eq!(text.matches("overdue").count(), 1);
    }

    #[test]
    fn many_lines_and_those_of_later_days_wait_behind_a_tap() {
        let mut all: Vec<Due> = (1..6).map(|_| line(What::Wash, 1, &[])).collect();
        all.push(line(What::Sell, 20, &[]));
        let words = Words {
            language: Language::English,
            american: true,
        };
        let text = due(words, Zone::UTC, &now(all)).into_string();
        assert!(text.contains("2 more"), "{text}");
        assert!(text.contains("Later: selling"), "{text}");
        let (open, _) = text.split_once("id=\"later\"").unwrap();
        assert!(!open.contains("Sell by"), "{text}");
        assert!(
            !due(words, Zone::UTC, &now(Vec::new()))
                .into_string()
                .contains("<ul")
        );
    }
}
