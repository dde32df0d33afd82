use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;
use serde_json::Value;

use super::Units;
use super::findings::missing;
use super::shown::{Shown, label};
use crate::book::{Flock, Names};
use crate::record::edits::{Edit, Effective, Standing, effective};
use crate::record::{Body, COMMON, FieldType, Fields, Id, Instant, Kind, Record, Zone, spec};
use crate::trade::LOCAL_CODES_DECIDE;
use crate::trade::rules::RulePack;

/// A record with everything that was said about it.
#[derive(Debug, Clone)]
pub struct BookEntry {
    /// Its id.
    pub id: Id,
    /// Its first facts.
    pub base: Fields,
    /// Amendments and voids that reach it.
    pub edits: Vec<Edit>,
    /// When it was written down, in seconds since 1970 by the clock of the device.
    pub made_at: i64,
}

/// A cooler that should be read.
#[derive(Debug, Clone)]
pub struct Cooler {
    /// Its id.
    pub id: Id,
    /// The first farm day that it is known.
    pub first: NaiveDate,
    /// The last day it was used; nothing while it is in use.
    pub last: Option<NaiveDate>,
}

/// What a record book is made from.
#[derive(Debug, Clone)]
pub struct BookInput {
    /// The farm's name.
    pub farm: String,
    /// Its producer block, if it has one.
    pub producer: Option<String>,
    /// Its zone.
    pub zone: Zone,
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// When the book is made.
    pub now: Instant,
    /// The first farm day of any record here.
    pub begins: Option<NaiveDate>,
    /// Units to show.
    pub units: Units,
    /// Names to show.
    pub names: Names,
    /// The rules in force, if the farm chose any.
    pub pack: Option<RulePack>,
    /// The records whose day, now or as first logged, lies in the span.
    pub records: Vec<BookEntry>,
    /// Each flock that should be gathered from.
    pub flocks: Vec<Flock>,
    /// Each cooler that should be read.
    pub coolers: Vec<Cooler>,
}

/// The records of a span of days, to be shown to an inspector.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RecordBook {
    /// The farm's name.
    pub farm: String,
    /// Its producer block.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub producer: Option<String>,
    /// Its zone; all times are in it.
    pub zone: String,
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// When the book was made.
    pub made: String,
    /// The rules in force and for how long they ask records to be kept.
    pub rules: String,
    /// Records by kind, each kind in the order of time.
    pub sections: Vec<(Kind, Vec<BookRow>)>,
    /// What is not there, said plainly.
    pub missing: Vec<String>,
    /// What the book is not.
    pub caution: &'static str,
}

/// One record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BookRow {
    /// Its id.
    pub id: Id,
    /// When it happened, as first logged.
    pub when: String,
    /// When it was written down, where that was more than an hour later or earlier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entered: Option<String>,
    /// Who; empty where it is not said.
    pub by: String,
    /// Where: coop, cooler, outlet or station; empty where that has no meaning.
    pub place: String,
    /// Every other field with its value as first logged.
    pub values: Vec<(String, String)>,
    /// `stands`, `voided`, or why it cannot be read.
    pub standing: String,
    /// Amendments and voids, in the order of time.
    pub said: Vec<Said>,
}

/// An amendment or a void.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Said {
    /// When.
    pub when: String,
    /// Who.
    pub by: String,
    /// What: `count: first 42, then 40`, or `voided`.
    pub what: String,
    /// Why, where it was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Whether it was itself taken back later.
    pub taken_back: bool,
}

/// Makes the record book of a span of days. Nothing is left out because it is incomplete, amended or
/// voided; what is missing is said.
pub fn record_book(input: &BookInput) -> RecordBook {
    let shown = Shown {
        zone: input.zone,
        names: &input.names,
        units: &input.units,
    };
    let mut sections: BTreeMap<Kind, Vec<(Instant, BookRow)>> = BTreeMap::new();
    let mut standing: Vec<(Record, i64)> = Vec::new();
    for entry in &input.records {
        let word = entry.base.get("kind").and_then(Value::as_str);
        let Some(kind) = word.and_then(Kind::from_code).filter(|k| has_section(*k)) else {
            continue;
        };
        let now = effective(entry.id, &entry.base, &entry.edits);
        let first = Instant::from_ms(entry.id.unix_ms().unwrap_or_default());
        let row = row(&shown, kind, entry, &now);
        sections.entry(kind).or_default().push((first, row));
        if let (Some(record), Standing::Live) = (now.record, now.standing) {
            standing.push((record, entry.made_at));
        }
    }
    RecordBook {
        farm: input.farm.clone(),
        producer: input.producer.clone(),
        zone: input.zone.to_string(),
        from: input.from,
        to: input.to,
        made: shown.when(input.now),
        rules: rules(input),
        missing: missing(input, &shown, &standing),
        sections: sections
            .into_iter()
            .map(|(kind, mut rows)| {
                rows.sort_by_key(|(at, row)| (*at, row.id));
                (kind, rows.into_iter().map(|(_, row)| row).collect())
            })
            .collect(),
        caution: LOCAL_CODES_DECIDE,
    }
}

/// Set-up facts, edits and decisions about the review list are no records of the work itself.
fn has_section(kind: Kind) -> bool {
    !kind.is_setup() && !kind.is_edit() && kind != Kind::Decision
}

fn rules(input: &BookInput) -> String {
    let Some(pack) = &input.pack else {
        return "No rule pack is chosen, so nothing says for how long records are kept.".into();
    };
    match &pack.keep_records_months {
        Some(rule) => format!(
            "{}: records are kept for {} months ({}).",
            pack.name, rule.value, rule.source
        ),
        None => format!(
            "{}: it does not say for how long records are kept.",
            pack.name
        ),
    }
}

fn row(shown: &Shown<'_>, kind: Kind, entry: &BookEntry, now: &Effective) -> BookRow {
    let first = Instant::from_ms(entry.id.unix_ms().unwrap_or_default());
    let made = Instant::from_ms(entry.made_at.saturating_mul(1000));
    let place = place(kind);
    let text = |name: &str| entry.base.get(name).map(|v| shown.field(kind, name, v));
    let values = spec(kind)
        .iter()
        .chain(COMMON)
        .filter(|f| Some(f.name) != place && !["by", "device"].contains(&f.name))
        .filter_map(|f| Some((label(f.name), text(f.name)?)));
    BookRow {
        id: entry.id,
        when: shown.when(first),
        entered: ((made.ms() - first.ms()).abs() > 3_600_000).then(|| shown.when(made)),
        by: text("by").unwrap_or_default(),
        place: place.and_then(text).unwrap_or_default(),
        values: values.collect(),
        standing: match &now.standing {
            Standing::Live => match &now.problem {
                Some(problem) => format!("does not add up: {problem}"),
                None => "stands".into(),
            },
            Standing::Voided { .. } => "voided".into(),
            Standing::Refused(why) => format!("cannot be read: {why}"),
        },
        said: said(shown, kind, entry, now),
    }
}

/// The field that says where a record of this kind happened.
fn place(kind: Kind) -> Option<&'static str> {
    let fields = spec(kind).iter();
    let named = fields.clone().find(|f| {
        matches!(
            f.ty,
            FieldType::Ref(Kind::Coop | Kind::Cooler | Kind::Outlet)
        )
    });
    named
        .or_else(|| {
            fields.clone().find(|f| {
                ["station", "from"].contains(&f.name) && matches!(f.ty, FieldType::Choice(_))
            })
        })
        .map(|f| f.name)
}

fn said(shown: &Shown<'_>, kind: Kind, entry: &BookEntry, now: &Effective) -> Vec<Said> {
    let mut edits: Vec<&Edit> = entry.edits.iter().collect();
    edits.sort_by_key(|edit| edit.id);
    let target = |edit: &Edit| {
        edit.fields
            .get("target")
            .and_then(Value::as_str)
            .map(String::from)
    };
    let own = entry.id.to_string();
    let first = |name: &str| match (name, entry.base.get(name)) {
        (_, Some(value)) => shown.field(kind, name, value),
        ("at", None) => shown.when(Instant::from_ms(entry.id.unix_ms().unwrap_or_default())),
        _ => "nothing".into(),
    };
    edits
        .into_iter()
        .filter_map(|edit| {
            let record = Record::read(edit.id, &edit.fields).ok()?;
            let direct = target(edit).as_deref() == Some(own.as_str());
            let (what, why) = match &record.body {
                Body::Amend(amend) => {
                    let all = amend.set.iter().map(|(name, value)| {
                        let then = shown.field(kind, name, value);
                        format!("{}: first {}, then {then}", label(name), first(name))
                    });
                    (all.collect::<Vec<_>>().join("; "), amend.why.clone())
                }
                Body::Void(void) if direct => ("voided".into(), Some(void.why.clone())),
                Body::Void(void) => {
                    let of = void.target.short();
                    (format!("took back #{of}"), Some(void.why.clone()))
                }
                _ => return None,
            };
            Some(Said {
                when: shown.when(record.at),
                by: record.by.map(|id| shown.name(id)).unwrap_or_default(),
                what,
                why,
                taken_back: direct && !now.said.iter().any(|said| said.id == edit.id),
            })
        })
        .collect()
}
