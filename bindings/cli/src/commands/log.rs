use pointdown_core::farm::{Farm, Logged, Row};
use pointdown_core::record::{Draft, Id, InvalidRecord, Kind, Parts};
use serde_json::{Value, json};

use super::holds::held;
use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::input::{Input, Reader};
use crate::moments::Calendar;
use crate::tables::Screen;
use crate::words::Words;

pub(crate) fn log(
    base: &Base,
    screen: &mut Screen<'_>,
    kind: &str,
    words: &[String],
    at: Option<&str>,
) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let Some(kind) = Kind::from_code(kind) else {
        return Err(InvalidRecord::new("kind", kind, "see `pointdown fields`").into());
    };
    if matches!(kind, Kind::Farm | Kind::Device) {
        let allowed = "allowed is `pointdown amend` on the one that is here, and \
                       `pointdown write-as PERSON --device NAME` for a new device";
        return Err(invalid("kind", kind.code(), allowed));
    }
    let reader = Reader {
        farm: &farm,
        calendar,
        kind,
        amends: false,
    };
    let input = reader.read(words)?;
    let mut draft = Draft::new(kind);
    draft.fields = input.fields.clone();
    draft.at = match (at, input.at) {
        (Some(at), None) => Some(calendar.moment(at)?),
        (Some(at), Some(_)) => return Err(invalid("at", at, "allowed is at= or --at, once")),
        (None, at) => at,
    };
    let logged = farm.log(draft)?;
    print_logged(&farm, screen, &logged, &input)
}

fn print_logged(
    farm: &Farm,
    screen: &mut Screen<'_>,
    logged: &Logged,
    input: &Input,
) -> Result<(), Failure> {
    let overdrawn = overdrawn(farm, &logged.record)?;
    let held = held(farm, &logged.record)?;
    if screen.json {
        let mut all = json!({"id": logged.id, "record": logged.record});
        if let Some((station, parts)) = &input.chosen {
            all["chosen"] = json!({"station": station, "parts": parts});
        }
        if !overdrawn.is_empty() {
            all["overdrawn"] = overdrawn.into();
        }
        if !held.is_empty() {
            all["held"] = held
                .iter()
                .map(|h| json!({"lot": h.lot, "hold": h.hold, "cause": h.cause}))
                .collect();
        }
        return Ok(screen.value(&all)?);
    }
    let words = Words::of(farm)?;
    if let Some((station, parts)) = &input.chosen {
        let shown = lots(&words, parts);
        screen.line(format!("Oldest first, from {}: {shown}", station.code()))?;
    }
    let row = &logged.record;
    screen.line(if Kind::from_code(&row.kind).is_some_and(Kind::is_setup) {
        let short = row.id.short();
        format!("Added {} {short}: {}", row.kind, words.summary(row))
    } else {
        format!("Logged {}", line(&words, row))
    })?;
    for held in held {
        screen.line(format!(
            "Caution: {} is on hold ({}, {}): not to be sold or eaten. The label of a medicine, your vet and local rules decide.",
            words.lot(&held.lot),
            held.cause,
            held.hold.short()
        ))?;
    }
    for short in overdrawn {
        screen.line(format!(
            "Note: {} is short of {} ({} eggs): more left than came. Log what is missing, or amend.",
            short["station"].as_str().unwrap_or_default(),
            short["lot"].as_str().unwrap_or_default(),
            short["eggs"]
        ))?;
    }
    Ok(())
}

fn lots(words: &Words, parts: &Parts) -> String {
    let all = parts.0.iter();
    let shown: Vec<_> = all
        .map(|(lot, n)| format!("{}={n}", words.lot(lot)))
        .collect();
    shown.join(", ")
}

/// A record in one line: kind, short id, time, what it says.
fn line(words: &Words, row: &Row) -> String {
    format!(
        "{} {} at {}: {}",
        row.kind,
        row.id.short(),
        words.calendar.shown(row.at),
        words.summary(row)
    )
}

/// Lots of this record of which more left a station than ever came.
fn overdrawn(farm: &Farm, row: &Row) -> Result<Vec<Value>, Failure> {
    let Some(Value::Object(parts)) = row.fields.get("parts") else {
        return Ok(Vec::new());
    };
    let on_hand = farm.on_hand()?;
    let short = on_hand.iter().flat_map(|here| {
        here.lots
            .iter()
            .filter(|(lot, eggs)| **eggs < 0 && parts.contains_key(&lot.to_string()))
            .map(|(lot, eggs)| json!({"station": here.station, "lot": lot, "eggs": eggs}))
    });
    Ok(short.collect())
}

pub(crate) fn amend(
    base: &Base,
    screen: &mut Screen<'_>,
    id: &str,
    words: &[String],
    why: Option<&str>,
) -> Result<(), Failure> {
    let farm = base.open()?;
    let target = farm.find_record(id)?;
    let row = farm.record(target)?;
    // The core says why a kind cannot be amended; until then any kind reads the words.
    let kind = row
        .and_then(|row| Kind::from_code(&row.kind))
        .unwrap_or(Kind::Amend);
    let reader = Reader {
        farm: &farm,
        calendar: Calendar::of(&farm)?,
        kind,
        amends: true,
    };
    let input = reader.read(words)?;
    let mut set = input.fields;
    if let Some(at) = input.at {
        set.insert("at".into(), at.to_string().into());
    }
    let logged = farm.amend(target, set, why)?;
    print_edit(&farm, screen, &logged, target, "Amended")
}

pub(crate) fn void(
    base: &Base,
    screen: &mut Screen<'_>,
    id: &str,
    why: &str,
) -> Result<(), Failure> {
    let farm = base.open()?;
    let target = farm.find_record(id)?;
    let logged = farm.void(target, why)?;
    print_edit(&farm, screen, &logged, target, "Voided")
}

/// What was logged, and how the record that it is about stands now.
fn print_edit(
    farm: &Farm,
    screen: &mut Screen<'_>,
    logged: &Logged,
    target: Id,
    done: &str,
) -> Result<(), Failure> {
    let now = farm.record(target)?;
    if screen.json {
        let all = json!({"id": logged.id, "record": logged.record, "target": now});
        return Ok(screen.value(&all)?);
    }
    let words = Words::of(farm)?;
    if let Some(row) = now {
        screen.line(format!("{done} {}", line(&words, &row)))?;
    }
    Ok(screen.line(format!(
        "To undo it: pointdown void {} --why '...'",
        logged.id.short()
    ))?)
}
