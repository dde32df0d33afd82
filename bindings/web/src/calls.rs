//! What the screens can ask, by name.

use chrono::{NaiveDate, NaiveDateTime};
use pointdown_core::book::review::Choice;
use pointdown_core::book::trends::Step;
use pointdown_core::farm::{ErrorKind, Farm, FarmError, Filter, Logged};
use pointdown_core::record::{Draft, Fields, Id, Instant, InvalidRecord, Kind};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::{advice, home, packing, qr, shelf};

/// What begins a farm.
#[derive(Debug, Clone, Deserialize)]
pub struct Begin {
    /// The farm's set-up fields: `name` and `zone` at least.
    pub farm: Fields,
    /// The name of the person who begins.
    pub person: String,
    /// The name of this device.
    pub device: String,
}

#[derive(Deserialize)]
struct Days {
    from: NaiveDate,
    to: NaiveDate,
}

#[derive(Deserialize)]
struct Several {
    drafts: Vec<Draft>,
}

/// A date and time as the farm's clocks show them, such as `2026-11-25T07:30`.
#[derive(Deserialize)]
struct Wall {
    local: String,
}

#[derive(Deserialize)]
struct Amend {
    target: Id,
    set: Fields,
    why: Option<String>,
}

#[derive(Deserialize)]
struct Void {
    target: Id,
    why: String,
}

#[derive(Deserialize)]
struct List {
    kind: Option<Kind>,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
    #[serde(default)]
    all: bool,
    most: Option<u32>,
}

#[derive(Deserialize)]
struct Decide {
    line: String,
    /// How the line stood when it was shown.
    state: String,
    /// One of its choices, as it was shown.
    choice: Value,
}

#[derive(Deserialize)]
struct OfTime {
    from: NaiveDate,
    to: NaiveDate,
    step: Step,
}

#[derive(Deserialize)]
struct Target {
    id: Id,
}

#[derive(Deserialize)]
struct Fresh {
    token: String,
}

#[derive(Deserialize)]
struct Name {
    name: String,
}

#[derive(Deserialize)]
struct WhoIs {
    person: Id,
}

#[derive(Deserialize)]
struct Text {
    text: String,
}

#[derive(Deserialize)]
struct JoinWords {
    invite: String,
    device: String,
}

#[derive(Deserialize)]
struct Joined {
    url: String,
    token: String,
}

/// Answers one question, or logs something: when this returns, it is durable.
///
/// # Errors
/// A [`FarmError`] as JSON.
pub fn call(farm: &Farm, name: &str, words: &str) -> Result<String, String> {
    let answer = answer(farm, name, words)?;
    Ok(answer.to_string())
}

fn answer(farm: &Farm, name: &str, words: &str) -> Result<Value, String> {
    match name {
        "home" => home::home(farm).map_err(said),
        "sheet" => {
            let Days { from, to } = read(words)?;
            json_of(farm.sheet(from, to))
        }
        "days" => {
            let Days { from, to } = read(words)?;
            home::days(farm, from, to).map_err(said)
        }
        "log" => {
            let Several { drafts } = read(words)?;
            let logged = drafts.into_iter().map(|draft| farm.log(draft));
            json_of(logged.collect::<Result<Vec<_>, _>>())
        }
        "amend" => {
            let Amend { target, set, why } = read(words)?;
            json_of(farm.amend(target, set, why.as_deref()))
        }
        "moment" => {
            let Wall { local } = read(words)?;
            json_of(moment(farm, local))
        }
        "void" => {
            let Void { target, why } = read(words)?;
            json_of(farm.void(target, &why))
        }
        "list" => {
            let list: List = read(words)?;
            json_of(farm.list(&Filter {
                kind: list.kind,
                from: list.from,
                to: list.to,
                all: list.all,
                most: list.most,
            }))
        }
        "review" => json_of(farm.review()),
        "decide" => {
            let answer: Decide = read(words)?;
            json_of(decide(farm, &answer))
        }
        "person" => {
            let WhoIs { person } = read(words)?;
            farm.write_as(person).map_err(said)?;
            Ok(Value::Null)
        }
        "device" => {
            let Name { name } = read(words)?;
            json_of(farm.name_device(&name))
        }
        "sink" => advice::sink(farm, &read(words)?).map_err(said),
        "defects" => Ok(advice::defects()),
        "weights" => packing::weights(farm, &read(words)?).map_err(said),
        "fill" => packing::fill(farm, &read(words)?).map_err(said),
        "label" => packing::label(farm, &read(words)?).map_err(said),
        "now" => shelf::now(farm).map_err(said),
        "trends" => {
            let asked: OfTime = read(words)?;
            let trends = farm.trends(asked.from, asked.to, asked.step, None);
            let trends = trends.map_err(said)?;
            Ok(json!({ "trends": trends.shown(), "caution": trends.caution }))
        }
        "suggest" => shelf::suggest(farm, &read(words)?).map_err(said),
        "of_run" => shelf::of_run(farm, &read(words)?).map_err(said),
        "stocktake" => shelf::stocktake(farm, &read(words)?).map_err(said),
        "record" => {
            let Target { id } = read(words)?;
            json_of(farm.record(id))
        }
        "fresh_token" => {
            let Fresh { token } = read(words)?;
            farm.keep_token(&token).map_err(said)?;
            Ok(Value::Null)
        }
        "qr" => {
            let Text { text } = read(words)?;
            qr::modules(&text).map_err(said)
        }
        "join_ask" => {
            let JoinWords { invite, device } = read(words)?;
            let ask = farm.join_ask(&invite, &device);
            json_of(Ok::<_, FarmError>(ask))
        }
        "joined" => {
            let Joined { url, token } = read(words)?;
            farm.joined(&url, &token).map_err(said)?;
            Ok(Value::Null)
        }
        "carrier" => json_of(farm.carrier()),
        "status" => json_of(farm.status()),
        "sync_anew" => {
            farm.sync_anew();
            Ok(Value::Null)
        }
        "tidy" => {
            farm.tidy().map_err(said)?;
            Ok(Value::Null)
        }
        "check" => json_of(farm.check()),
        "sheet_hash" => {
            let Days { from, to } = read(words)?;
            json_of(farm.sheet_hash(from, to))
        }
        "record_count" => json_of(farm.record_count()),
        other => Err(said(FarmError::new(
            ErrorKind::Invalid,
            format!("nothing here answers to {other:?}"),
        ))),
    }
}

/// Nobody answers a question that was never put: a line that changed since it was shown is gone.
fn decide(farm: &Farm, answer: &Decide) -> Result<Vec<Logged>, FarmError> {
    let findings = farm.review()?;
    let chosen: Option<&Choice> = findings
        .iter()
        .find(|f| f.line == answer.line && f.state == answer.state)
        .and_then(|f| f.choices.iter().find(|c| json!(c) == answer.choice));
    match chosen {
        Some(chosen) => farm.decide(&answer.line, chosen),
        None => Err(FarmError::new(
            ErrorKind::NotFound,
            "the review list has changed since it was shown; look again, then decide",
        )),
    }
}

/// The moment at which the farm's clocks show this.
fn moment(farm: &Farm, local: String) -> Result<Instant, FarmError> {
    let zone = farm.zone()?;
    let wrong = |allowed: String| FarmError::from(InvalidRecord::new("at", &local, allowed));
    let at = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(&local, form).ok())
        .ok_or_else(|| wrong("allowed is a date and time such as 2026-11-25T07:30".into()))?;
    zone.moment(at.date(), at.time()).ok_or_else(|| {
        wrong(format!(
            "the clocks in {zone} skip this time; allowed are the times before and after"
        ))
    })
}

/// Reads the words of a call.
///
/// # Errors
/// A [`FarmError`] as JSON that says what cannot be read.
pub fn read<T: DeserializeOwned>(words: &str) -> Result<T, String> {
    serde_json::from_str(words).map_err(|e| {
        said(FarmError::new(
            ErrorKind::Invalid,
            format!("the question cannot be read: {e}"),
        ))
    })
}

fn json_of<T: serde::Serialize>(value: Result<T, FarmError>) -> Result<Value, String> {
    let value = value.map_err(said)?;
    serde_json::to_value(value).map_err(|e| said(FarmError::new(ErrorKind::Damaged, e.to_string())))
}

fn said(e: FarmError) -> String {
    error_json(&e)
}

/// An error as the screens read it.
pub fn error_json(e: &FarmError) -> String {
    json!({ "kind": e.kind, "message": e.message, "invalid": e.invalid }).to_string()
}
