use chrono::NaiveDate;
use serde_json::{Map, Number, Value};

use super::{Fields, Id, Instant, InvalidRecord, Kind, Lot, Station, Zone};
use crate::trade::rules::{HousePolicy, RulePack};
use crate::trade::{Defect, Species};

/// The longest rule pack or house policy, in bytes of JSON. The built-in packs have about 10,000.
pub(super) const LONGEST: usize = 65_536;

/// The most eggs, birds or cartons that one record may count.
pub(super) const MOST: u64 = 10_000;

/// One field of a kind of record.
#[derive(Debug, Clone, Copy)]
pub struct FieldSpec {
    /// The name in records and files.
    pub name: &'static str,
    /// What it holds.
    pub ty: FieldType,
    /// Whether a record without it is refused.
    pub required: bool,
    /// Its meaning in a few words.
    pub about: &'static str,
}

/// What a field may hold, with its unit and range.
#[derive(Debug, Clone, Copy)]
pub enum FieldType {
    /// A whole number from the first to the second.
    Count(u64, u64),
    /// A number from the first to the second, kept to so many decimals, in the unit named.
    Number(f64, f64, u32, &'static str),
    /// A temperature in °C (or given with a unit, as `68F`), from the first to the second.
    Temperature(f64, f64),
    /// Text of at most so many characters.
    Text(usize),
    /// One of these words.
    Choice(&'static [&'static str]),
    /// Yes or no.
    Flag,
    /// The id of a set-up record or other record of this kind.
    Ref(Kind),
    /// The id of any record.
    AnyRecord,
    /// The ids of amendments or voids that the writer had seen.
    Seen,
    /// A species.
    Species,
    /// One or more species.
    SpeciesList,
    /// Why eggs were pulled: a defect, or one of the other reasons.
    CullReason,
    /// A civil date.
    Day,
    /// A moment.
    Instant,
    /// A lot.
    Lot,
    /// Lots and how many eggs of each.
    Parts,
    /// How many of each of these.
    Tally(&'static [&'static str]),
    /// Weights of single eggs, in grams.
    Weights,
    /// An amount of money with at most three decimals, kept as text.
    Money,
    /// An IANA time zone.
    Zone,
    /// New values by field name.
    Values,
    /// A rule pack of the farm's own.
    RulePack,
    /// A house policy.
    HousePolicy,
}

/// Reasons to pull eggs beside the defects of [`Defect`].
pub(super) const OTHER_REASONS: [&str; 5] = ["too_old", "held", "called_back", "broken", "other"];

impl FieldType {
    /// What the field accepts, in words for an error or a help text.
    pub fn allowed(&self) -> String {
        match self {
            FieldType::Count(lo, hi) => format!("allowed are whole numbers from {lo} to {hi}"),
            FieldType::Number(lo, hi, _, unit) => {
                format!("allowed are numbers from {lo} to {hi} {unit}")
            }
            FieldType::Temperature(lo, hi) => format!(
                "allowed are {lo} to {hi} °C ({:.0} to {:.0} °F), such as 32.5, 32.5C or 90F",
                lo * 1.8 + 32.0,
                hi * 1.8 + 32.0
            ),
            FieldType::Text(most) => format!("allowed are 1 to {most} characters of text"),
            FieldType::Choice(words) | FieldType::Tally(words) => {
                format!("allowed are {}", words.join(", "))
            }
            FieldType::Flag => "allowed are yes and no".into(),
            FieldType::Ref(kind) => format!("allowed is a {} that the farm knows", kind.code()),
            FieldType::AnyRecord => "allowed is the id of a record that is here".into(),
            FieldType::Seen => "allowed is a list of record ids".into(),
            FieldType::Species | FieldType::SpeciesList => {
                format!("allowed are {}", Species::ALL.map(Species::code).join(", "))
            }
            FieldType::CullReason => format!(
                "allowed are {}, {}",
                Defect::ALL.map(Defect::code).join(", "),
                OTHER_REASONS.join(", ")
            ),
            FieldType::Day => "allowed is a date from 2000-01-01 to 2200-12-31".into(),
            FieldType::Instant => {
                "allowed is a time such as 2026-11-25T07:30:00Z, from 2000 to 2200".into()
            }
            FieldType::Lot => "allowed is a lot such as 2026-11-25/hen".into(),
            FieldType::Parts => format!(
                "allowed are lots with 1 to {MOST} eggs each, such as 2026-11-25/hen=12, at most 200 lots"
            ),
            FieldType::Weights => "allowed are 1 to 5000 weights from 1 to 500 g".into(),
            FieldType::Money => "allowed is an amount from 0 to 999999.999, such as 4.50".into(),
            FieldType::Zone => "allowed is an IANA name such as Europe/Dublin".into(),
            FieldType::Values => "allowed are fields of the record that is amended".into(),
            FieldType::RulePack => format!(
                "allowed is a whole rule pack with the code custom, as JSON of at most {LONGEST} bytes"
            ),
            FieldType::HousePolicy => {
                format!("allowed is a house policy, as JSON of at most {LONGEST} bytes")
            }
        }
    }

    /// Reads a value as a person or a program gives it into the one form that is stored.
    pub fn read(&self, name: &str, value: &Value) -> Result<Value, InvalidRecord> {
        match self {
            FieldType::RulePack => {
                return self.rules(name, value, |object| RulePack::own(object).map(drop));
            }
            FieldType::HousePolicy => {
                return self.rules(name, value, |object| HousePolicy::own(object).map(drop));
            }
            _ => {}
        }
        self.canonical(value)
            .ok_or_else(|| InvalidRecord::new(name, shown(value), self.allowed()))
    }

    fn canonical(&self, value: &Value) -> Option<Value> {
        match self {
            FieldType::Count(lo, hi) => {
                let n = whole(value)?;
                (*lo..=*hi).contains(&n).then(|| n.into())
            }
            FieldType::Number(lo, hi, decimals, _) => number_in(value, *lo, *hi, *decimals),
            FieldType::Temperature(lo, hi) => number_in(&celsius(value)?, *lo, *hi, 2),
            FieldType::Text(most) => {
                let text = value.as_str()?.trim();
                let length = text.chars().count();
                let plain = !text.chars().any(|c| c.is_control() && c != '\n');
                (plain && (1..=*most).contains(&length)).then(|| text.into())
            }
            FieldType::Choice(words) => {
                let word = value.as_str()?;
                words.contains(&word).then(|| word.into())
            }
            FieldType::Flag => match value {
                Value::Bool(_) => Some(value.clone()),
                Value::String(s) if matches!(s.as_str(), "yes" | "true") => Some(true.into()),
                Value::String(s) if matches!(s.as_str(), "no" | "false") => Some(false.into()),
                _ => None,
            },
            FieldType::Ref(_) | FieldType::AnyRecord => id(value),
            FieldType::Seen => list(value)
                .filter(|all| all.len() <= 64)
                .and_then(|all| all.iter().map(id).collect::<Option<Vec<_>>>())
                .map(Value::Array),
            FieldType::Species => {
                Species::from_code(value.as_str()?).map(|species| species.code().into())
            }
            FieldType::SpeciesList => {
                let all = list(value)?;
                let known: Option<Vec<Species>> = all
                    .iter()
                    .map(|s| Species::from_code(s.as_str()?.trim()))
                    .collect();
                let mut known = known.filter(|k| !k.is_empty())?;
                known.sort();
                known.dedup();
                Some(known.into_iter().map(Species::code).collect())
            }
            FieldType::CullReason => {
                let word = value.as_str()?;
                let known = Defect::from_code(word).is_some() || OTHER_REASONS.contains(&word);
                known.then(|| word.into())
            }
            FieldType::Day => day(value.as_str()?).map(|d| d.to_string().into()),
            FieldType::Instant => {
                let at: Instant = value.as_str()?.parse().ok()?;
                (Instant::EARLIEST..=Instant::LATEST)
                    .contains(&at)
                    .then(|| at.to_string().into())
            }
            FieldType::Lot => lot(value.as_str()?).map(|lot| lot.to_string().into()),
            FieldType::Parts => parts(value),
            FieldType::Tally(words) => {
                let mut tally = Map::new();
                for (word, n) in pairs(value)? {
                    let n = whole(&n).filter(|n| *n <= MOST)?;
                    if !words.contains(&word.as_str()) || tally.insert(word, n.into()).is_some() {
                        return None;
                    }
                }
                (!tally.is_empty()).then_some(Value::Object(tally))
            }
            FieldType::Weights => {
                let all = list(value)?;
                if all.is_empty() || all.len() > 5000 {
                    return None;
                }
                let all: Option<Vec<_>> = all.iter().map(|w| number_in(w, 1.0, 500.0, 2)).collect();
                all.map(Value::Array)
            }
            FieldType::Money => money(value),
            FieldType::Zone => value
                .as_str()?
                .parse::<Zone>()
                .ok()
                .map(|z| z.to_string().into()),
            FieldType::Values => match value {
                Value::Object(map) if !map.is_empty() && map.len() <= 32 => Some(value.clone()),
                _ => None,
            },
            // Read by themselves, since their errors name a field within.
            FieldType::RulePack | FieldType::HousePolicy => None,
        }
    }
}

pub(super) fn shown(value: &Value) -> String {
    match value {
        Value::String(s) => format!("{s:?}"),
        other => other.to_string(),
    }
}

fn whole(value: &Value) -> Option<u64> {
    match value {
        Value::Number(n) => n.as_u64().or_else(|| {
            let f = n.as_f64()?;
            (f.fract() == 0.0 && (0.0..1e15).contains(&f)).then_some(f as u64)
        }),
        Value::String(s) => s.trim().parse().ok(),
        _ => None,
    }
}

fn number_in(value: &Value, lo: f64, hi: f64, decimals: u32) -> Option<Value> {
    let n = match value {
        Value::Number(n) => n.as_f64()?,
        Value::String(s) => s.trim().parse().ok()?,
        _ => return None,
    };
    if !n.is_finite() || n < lo || n > hi {
        return None;
    }
    let scale = 10f64.powi(decimals as i32);
    let n = (n * scale).round() / scale;
    if n.fract() == 0.0 {
        Some((n as i64).into())
    } else {
        Number::from_f64(n).map(Value::Number)
    }
}

fn celsius(value: &Value) -> Option<Value> {
    let Some(text) = value.as_str() else {
        return Some(value.clone());
    };
    let text = text.trim().trim_end_matches('°');
    if let Some(f) = text.strip_suffix(['F', 'f']) {
        let f: f64 = f.trim().trim_end_matches('°').parse().ok()?;
        return Number::from_f64((f - 32.0) * 5.0 / 9.0).map(Value::Number);
    }
    let c = text.strip_suffix(['C', 'c']).unwrap_or(text);
    Some(c.trim().trim_end_matches('°').into())
}

fn id(value: &Value) -> Option<Value> {
    value
        .as_str()?
        .parse::<Id>()
        .ok()
        .map(|id| id.to_string().into())
}

fn list(value: &Value) -> Option<Vec<Value>> {
    match value {
        Value::Array(all) => Some(all.clone()),
        Value::String(s) => Some(s.split(',').map(|w| w.trim().into()).collect()),
        Value::Number(_) => Some(vec![value.clone()]),
        _ => None,
    }
}

/// `a=1,b=2`, or an object.
fn pairs(value: &Value) -> Option<Vec<(String, Value)>> {
    match value {
        Value::Object(map) => Some(map.iter().map(|(k, v)| (k.clone(), v.clone())).collect()),
        Value::String(s) => s
            .split(',')
            .map(|pair| {
                let (key, n) = pair.split_once('=')?;
                Some((key.trim().to_string(), Value::String(n.trim().to_string())))
            })
            .collect(),
        _ => None,
    }
}

fn day(text: &str) -> Option<NaiveDate> {
    let day: NaiveDate = text.parse().ok()?;
    let first = NaiveDate::from_ymd_opt(2000, 1, 1)?;
    let last = NaiveDate::from_ymd_opt(2200, 12, 31)?;
    (first..=last).contains(&day).then_some(day)
}

fn lot(text: &str) -> Option<Lot> {
    let lot: Lot = text.parse().ok()?;
    day(&lot.day.to_string()).map(|_| lot)
}

fn parts(value: &Value) -> Option<Value> {
    let pairs = pairs(value)?;
    if pairs.is_empty() || pairs.len() > 200 {
        return None;
    }
    let mut parts = Map::new();
    for (name, n) in pairs {
        let n = whole(&n).filter(|n| (1..=MOST).contains(n))?;
        if parts.insert(lot(&name)?.to_string(), n.into()).is_some() {
            return None;
        }
    }
    Some(Value::Object(parts))
}

fn money(value: &Value) -> Option<Value> {
    let text = match value {
        Value::String(s) => s.trim().to_string(),
        Value::Number(n) => n.to_string(),
        _ => return None,
    };
    let (units, cents) = text.split_once('.').unwrap_or((&text, ""));
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let fits = !units.is_empty() && units.len() <= 6 && cents.len() <= 3;
    let whole_dot = !text.ends_with('.');
    (fits && whole_dot && digits(units) && digits(cents)).then(|| text.into())
}

/// The stations as words for a [`FieldType::Choice`].
pub(super) const STATIONS: [&str; 3] = [
    Station::Basket.code(),
    Station::Clean.code(),
    Station::Cartoned.code(),
];

/// Lays canonical `values` over `base`; a null takes a field away.
pub(super) fn overlay(base: &mut Fields, values: &Fields) {
    for (name, value) in values {
        if value.is_null() {
            base.remove(name);
        } else {
            base.insert(name.clone(), value.clone());
        }
    }
}
