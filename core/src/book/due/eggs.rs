use chrono::NaiveDate;

use super::super::Place;
use super::super::trace::Share;
use super::{Desk, Due, Here, What};
use crate::record::{Body, Instant};
use crate::trade::clock::cold_deadline;
use crate::trade::dates::{LastDay, last_day};
use crate::trade::rules::Permission;
use crate::trade::{Finding, LOCAL_CODES_DECIDE, Reason, WASH_CAUTION};

const DAY_MS: i64 = 86_400_000;

/// What to say of eggs on hold.
pub(super) const HOLD_CAUTION: &str = "Held eggs are not to be sold, given away or eaten. The label of \
     a medicine, a veterinarian and your local rules decide when eggs are free again; eggs of held days \
     stay held.";

/// What is due for eggs that stand at a station.
pub(super) fn due(desk: &Desk, stands: &Here, at: Instant, all: &mut Vec<Due>) {
    if stands.held.is_some() {
        all.push(set_apart(desk, stands));
    }
    if stands.held == Some(Share::All) {
        // Nothing else is to be done with them.
        return;
    }
    match stands.place {
        Place::Basket | Place::Clean => unpacked(desk, stands, at, all),
        _ => packed(desk, stands, at, all),
    }
}

fn set_apart(desk: &Desk, stands: &Here) -> Due {
    let holds = stands.holds.iter();
    let records = holds.filter_map(|id| desk.facts.holds.iter().find(|h| h.id == *id));
    let mut since = None;
    let mut why = Vec::new();
    for record in records {
        let Body::Hold(hold) = &record.body else {
            continue;
        };
        since = Some(since.map_or(record.at, |s: Instant| s.min(record.at)));
        let what = hold
            .given
            .as_ref()
            .map(|g| format!(", {g}"))
            .unwrap_or_default();
        let until = hold.until.map_or("open".into(), |day| format!("to {day}"));
        let how = match stands.held {
            Some(Share::All) => "all of them are",
            _ => "they were pooled: some may be",
        };
        why.push(Reason::common_practice(format!(
            "On hold ({}{what}) from {} {until}; {how} of it",
            hold.cause, hold.from
        )));
    }
    Due::of(What::SetApart, since, why, HOLD_CAUTION).about(stands)
}

fn unpacked(desk: &Desk, stands: &Here, at: Instant, all: &mut Vec<Due>) {
    let pack = desk.setting.pack.as_ref();
    let cold: Option<Finding<Instant>> = pack
        .and_then(|pack| cold_deadline(stands.species, stands.laid.utc(), pack))
        .map(|found| found.map(|at| Instant::from_ms(at.timestamp_millis())));
    let cold_at = cold.as_ref().map(|found| found.value);
    if stands.place == Place::Basket {
        all.push(wash(desk, stands, cold_at));
    } else if let Some(candle) = candle(desk, stands, at, cold_at) {
        all.push(candle);
    }
    if let Some(mut found) = cold {
        found.why.push(stands.laid_by.clone());
        all.push(Due::of(What::Chill, Some(found.value), found.why, &found.caution).about(stands));
    }
    if let Some(found) = last(desk, stands, LastDay::PackBy, today(desk, at)) {
        let by = Some(ends(desk, found.value));
        all.push(Due::of(What::Pack, by, found.why, &found.caution).about(stands));
    }
}

fn wash(desk: &Desk, stands: &Here, cold: Option<Instant>) -> Due {
    let day = stands.gathered.unwrap_or(stands.laid).plus_ms(DAY_MS);
    let by = cold.map_or(day, |cold| cold.min(day));
    let mut why = vec![Reason::common_practice(
        "Clean within a day of gathering, before the eggs are chilled: dirt dries on, and a cold egg draws in what \
         is on its shell. What is clean already needs nothing.",
    )];
    let pack = desk.setting.pack.as_ref();
    if desk.setting.house.keep_bloom {
        why.push(Reason::new(
            "The bloom is kept: dry cleaning only",
            "house policy",
            crate::trade::Mark::House,
        ));
    } else if let Some(wet) = pack.map(|p| &p.cleaning.wet)
        && wet.value != Permission::Allowed
    {
        why.push(wet.reason("Not with water: dry cleaning only, where that is allowed"));
    }
    Due::of(What::Wash, Some(by), why, WASH_CAUTION).about(stands)
}

fn candle(desk: &Desk, stands: &Here, at: Instant, cold: Option<Instant>) -> Option<Due> {
    let lot = stands.lot?;
    let paths = desk.facts.lots.get(&lot)?;
    let packed: i64 = paths
        .steps()
        .iter()
        .filter(|s| (s.from, s.to) == (Place::Clean, Place::Cartoned))
        .map(|s| i64::from(s.eggs))
        .sum();
    // What was packed counts as candled first: it is what one candles for.
    let candled = i64::from(desk.candled.get(&lot).copied().unwrap_or(0));
    let open = (stands.eggs + packed - candled).clamp(0, stands.eggs);
    if open == 0 {
        return None;
    }
    let pack = last(desk, stands, LastDay::PackBy, today(desk, at)).map(|f| ends(desk, f.value));
    let by = [cold, pack].into_iter().flatten().min();
    let why = vec![Reason::common_practice(
        "Look through the shell before packing: cracks, blood and rot do not belong in a carton.",
    )];
    let mut due = Due::of(What::Candle, by, why, LOCAL_CODES_DECIDE).about(stands);
    due.eggs = open;
    Some(due)
}

fn packed(desk: &Desk, stands: &Here, at: Instant, all: &mut Vec<Due>) {
    let run = stands.run.and_then(|run| desk.facts.records.get(&run));
    let (packed, label) = match run.map(|r| &r.body) {
        Some(Body::Carton(carton)) => (carton.packed, carton.best_by),
        // Eggs on the shelf without a run: packed on the day of their lot at the earliest.
        _ => (stands.lot.map_or(today(desk, at), |lot| lot.day), None),
    };
    let sell = [LastDay::SellBy, LastDay::DeliverBy]
        .into_iter()
        .filter_map(|which| last(desk, stands, which, packed))
        .min_by_key(|found| found.value);
    if let Some(found) = sell {
        let by = Some(ends(desk, found.value));
        all.push(Due::of(What::Sell, by, found.why, &found.caution).about(stands));
    }
    if let Some(day) = label {
        let why = vec![Reason::new(
            format!("The cartons say best by {day}"),
            "the label as logged",
            crate::trade::Mark::House,
        )];
        let by = Some(ends(desk, day));
        all.push(Due::of(What::BestBy, by, why, LOCAL_CODES_DECIDE).about(stands));
    } else if let Some(mut found) = last(desk, stands, LastDay::BestBy, packed) {
        let words = "No best-by date was logged; this is the last that the rules allow";
        found.why.push(Reason::common_practice(words));
        let by = Some(ends(desk, found.value));
        all.push(Due::of(What::BestBy, by, found.why, &found.caution).about(stands));
    }
}

/// A last day under the rules, where they set one.
fn last(
    desk: &Desk,
    stands: &Here,
    which: LastDay,
    packed: NaiveDate,
) -> Option<Finding<NaiveDate>> {
    let pack = desk.setting.pack.as_ref()?;
    let laid = desk.setting.zone.day(stands.laid);
    let mut found = last_day(which, packed.max(laid), laid, pack, &desk.setting.house).ok()?;
    let day = found.value?;
    for reason in &mut found.why {
        undated(reason);
    }
    Some(found.map(|_| day))
}

/// Takes the day from the end of a reason: the line says it, and so one rule is one reason for every
/// lot.
fn undated(reason: &mut Reason) {
    if let Some((rule, day)) = reason.rule.rsplit_once(": ")
        && day.parse::<NaiveDate>().is_ok()
    {
        reason.rule = rule.into();
    }
}

fn today(desk: &Desk, at: Instant) -> NaiveDate {
    desk.setting.zone.day(at)
}

/// The moment at which a farm day has ended.
pub(super) fn ends(desk: &Desk, day: NaiveDate) -> Instant {
    desk.setting.zone.day_begins(day.succ_opt().unwrap_or(day))
}
