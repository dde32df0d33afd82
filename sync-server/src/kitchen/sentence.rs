//! A line of the review list and its choices, in words: the phone's own.

use std::collections::BTreeMap;

use pointdown_core::book::review::{Choice, Finding, Misdating, What};
use pointdown_core::record::{Id, Lot};
use serde_json::Value;

use super::words::Words;

type Names = BTreeMap<Id, String>;

fn name(names: &Names, id: Id) -> String {
    names.get(&id).cloned().unwrap_or_else(|| "?".into())
}

fn lot(words: Words, lot: &Lot) -> String {
    format!(
        "{}, {}",
        words.species(lot.species),
        words.short_day(lot.day)
    )
}

/// The people concerned, by name.
pub(super) fn who(words: Words, finding: &Finding, names: &Names) -> String {
    let all: Vec<String> = finding.people.iter().map(|id| name(names, *id)).collect();
    words.list(&all)
}

/// What the line is about.
pub(super) fn about(words: Words, finding: &Finding, names: &Names) -> String {
    let who = who(words, finding, names);
    let who = [("who", who.as_str())];
    match &finding.what {
        What::HeldEggs {
            on_shelf,
            gone,
            certain,
        } => {
            let left: u32 = on_shelf.values().sum();
            let to: Vec<String> = gone.values().cloned().collect();
            let gone = match to.is_empty() {
                true => words.t("review.nobody"),
                false => words.list(&to),
            };
            let values = [("gone", gone.as_str())];
            match certain {
                true => words.n("review.held", i64::from(left), &values),
                false => words.n("review.held_maybe", i64::from(left), &values),
            }
        }
        What::Overdraw {
            place,
            lot: of,
            eggs,
        } => {
            let place = words.t(&format!("flow.{}", place.code()));
            words.n(
                "review.overdraw",
                *eggs,
                &[("place", &place), ("lot", &lot(words, of))],
            )
        }
        What::DoubleLog { counts: (a, b) } => {
            let (a, b) = (a.to_string(), b.to_string());
            words.fill("review.double_log", &[who[0], ("a", &a), ("b", &b)])
        }
        What::BothVoided => words.fill("review.both_voided", &who),
        What::Disagreement { field, .. } => {
            let field = words.t(&format!("field.{field}"));
            words.fill("review.disagreement", &[who[0], ("field", &field)])
        }
        What::AmendedAndVoided => words.fill("review.amended_and_voided", &who),
        What::DoesNotAddUp { problem } => {
            words.fill("review.does_not_add_up", &[("problem", problem)])
        }
        What::ClockOff { shift_s } => {
            let minutes = words.num(minutes(*shift_s));
            words.fill("review.clock_off", &[who[0], ("minutes", &minutes)])
        }
        What::Misdated { how, .. } => {
            let how = match how {
                Misdating::Future => "future",
                Misdating::BeforePacking => "before_packing",
                Misdating::BeforeGathering => "before_gathering",
            };
            words.fill(&format!("review.misdated.{how}"), &who)
        }
        What::CountOvertaken { counted, then, now } => {
            let (then, now) = (words.num(*then), words.num(*now));
            let values = [("then", then.as_str()), ("now", &now)];
            words.n("review.count_overtaken", i64::from(*counted), &values)
        }
        What::Stocktake {
            by,
            place,
            species,
            lot: of,
            counted,
            booked,
            ..
        } => {
            let off = i64::from(*counted) - booked;
            let key = match off < 0 {
                true => "review.stock_short",
                false => "review.stock_over",
            };
            let (counted, booked) = (words.num(i64::from(*counted)), words.num(*booked));
            let place = words.t(&format!("flow.{}", place.code()));
            let of = of
                .as_ref()
                .map_or_else(|| words.species(*species), |of| lot(words, of));
            let by = by.map_or_else(|| "?".into(), |by| name(names, by));
            let values = [
                ("counted", counted.as_str()),
                ("booked", &booked),
                ("place", &place),
                ("of", &of),
                ("who", &by),
            ];
            words.n(key, off.abs(), &values)
        }
        What::FarmVoided { .. } => words.fill("review.farm_voided", &who),
        What::Breach { rule, .. } => words.t(&format!("rule.{rule}")),
        What::SameName { name } => words.fill("review.same_name", &[("name", name)]),
        What::RetiredUse { species } => words.fill(
            "review.retired_use",
            &[("species", &words.species(*species))],
        ),
        What::CannotRead { why } => words.fill("review.cannot_read", &[("why", why)]),
    }
}

fn minutes(seconds: i64) -> i64 {
    (seconds as f64 / 60.0).round() as i64
}

/// What a choice does.
pub(super) fn choice(words: Words, finding: &Finding, choice: &Choice, names: &Names) -> String {
    match choice {
        Choice::Keep { field, value, .. } => {
            let shown = shown(words, field, value, names);
            let field = words.t(&format!("field.{field}"));
            words.fill("choice.keep", &[("field", &field), ("value", &shown)])
        }
        Choice::Void { record } => {
            let nth = finding.records.iter().position(|id| id == record);
            match (&finding.what, nth) {
                (What::DoubleLog { counts }, Some(n @ 0..=1)) => {
                    let eggs = if n == 0 { counts.0 } else { counts.1 };
                    words.n("choice.void_of", i64::from(eggs), &[])
                }
                _ => words.t("choice.void"),
            }
        }
        Choice::Restore { .. } => words.t("choice.restore"),
        Choice::BothRight => words.t("choice.both_right"),
        Choice::Recount { .. } => words.t("choice.recount"),
        Choice::RecountAll { .. } => words.t("choice.recount_all"),
        Choice::PullHeld { .. } => words.t("choice.pull_held"),
        Choice::Shift { by_s, .. } => {
            let minutes = words.num(minutes(*by_s));
            words.fill("choice.shift", &[("minutes", &minutes)])
        }
        Choice::Retire { .. } => words.t("choice.retire"),
        Choice::Seen => words.t("choice.seen"),
    }
}

/// Where the eggs are that a choice asks to count.
pub(super) fn counted_at(words: Words, choice: &Choice) -> String {
    let place = match choice {
        Choice::Recount { place, .. } | Choice::RecountAll { place, .. } => place.code(),
        _ => "basket",
    };
    let place = words.t(&format!("flow.{place}"));
    words.fill("review.counted", &[("place", &place)])
}

/// A value as a person reads it.
pub(super) fn shown(words: Words, field: &str, value: &Value, names: &Names) -> String {
    match value {
        Value::Null => words.t("review.nothing"),
        Value::String(text) if field == "species" => words.t(&format!("species.{text}")),
        Value::String(text) => {
            let id: Option<Id> = text.parse().ok();
            id.and_then(|id| names.get(&id).cloned())
                .unwrap_or_else(|| text.clone())
        }
        Value::Number(n) => match n.as_i64() {
            Some(n) => words.num(n),
            None => words.decimal(n.as_f64().unwrap_or_default(), 1),
        },
        Value::Object(parts) if field == "parts" => {
            let all: Vec<String> = parts
                .iter()
                .map(|(of, n)| {
                    let of = of.parse().map_or_else(|_| of.clone(), |of| lot(words, &of));
                    format!("{n} {of}")
                })
                .collect();
            all.join("; ")
        }
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kitchen::words::Language;
    use serde_json::json;

    #[test]
    fn values_are_told_as_people_say_them() {
        let words = Words {
            language: Language::English,
            american: true,
        };
        let ada = Id::at(1, [7; 10]);
        let names = Names::from([(ada, "Ada".to_owned())]);
        let told = |field, value| shown(words, field, &value, &names);
        assert_eq!(told("count", json!(1200)), "1,200");
        assert_eq!(told("by", json!(ada.to_string())), "Ada");
        assert_eq!(told("species", json!("duck")), "duck");
        assert_eq!(told("note", Value::Null), "nothing");
        assert_eq!(
            told("parts", json!({"2026-11-25/hen": 12})),
            "12 hen, Wed, Nov 25"
        );
        assert_eq!(minutes(-3599), -60);
    }
}
