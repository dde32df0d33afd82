use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{Body, COMMON, FieldSpec, FieldType, Fields, Id, Instant, InvalidRecord, Kind, spec};

/// A record as a person or a program gives it, not checked yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Draft {
    /// The kind by its word, for example `gather`.
    pub kind: String,
    /// When it happened; now unless said.
    #[serde(default)]
    pub at: Option<Instant>,
    /// The fields by name; numbers may come as text, temperatures with a unit.
    #[serde(flatten)]
    pub fields: Fields,
}

impl Draft {
    /// A draft of this kind without fields.
    pub fn new(kind: Kind) -> Draft {
        Draft {
            kind: kind.code().into(),
            at: None,
            fields: Fields::new(),
        }
    }

    /// The draft with one more field.
    #[must_use]
    pub fn with(mut self, field: &str, value: impl Into<Value>) -> Draft {
        self.fields.insert(field.into(), value.into());
        self
    }

    /// The draft with the time of the event.
    #[must_use]
    pub fn at(mut self, at: Instant) -> Draft {
        self.at = Some(at);
        self
    }
}

/// What the farm already has, so that a draft can be held against it.
pub trait Known {
    /// Whether a record of this kind (any kind, where none is named) is here.
    fn has(&self, kind: Option<Kind>, id: Id) -> bool;
}

/// What a draft is held against.
#[derive(Clone, Copy)]
pub struct Where<'a> {
    /// Now, by the device's clock: nothing may be dated more than a day ahead of it.
    pub now: Instant,
    /// What the farm already has.
    pub known: &'a dyn Known,
}

/// One fact: who did what, when.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Its name for ever.
    pub id: Id,
    /// When it happened: the time in the id, unless amended.
    pub at: Instant,
    /// Who did it.
    pub by: Option<Id>,
    /// The installation that logged it.
    pub device: Option<Id>,
    /// Anything worth knowing.
    pub note: Option<String>,
    /// The fields of its kind.
    pub body: Body,
    /// Fields that this version does not know: kept, shown as unknown, never dropped.
    pub unknown: Fields,
}

impl Record {
    /// Reads stored fields. Every field is checked by itself; [`Record::consistent`] holds them
    /// against one another.
    pub fn read(id: Id, fields: &Fields) -> Result<Record, InvalidRecord> {
        let kind = kind_of(fields)?;
        let mut unknown = Fields::new();
        for (name, value) in fields {
            match field(kind, name) {
                Some(spec) => drop(spec.ty.read(name, value)?),
                None if name == "kind" => {}
                None if name == "at" => drop(FieldType::Instant.read(name, value)?),
                None => drop(unknown.insert(name.clone(), value.clone())),
            }
        }
        for spec in spec(kind).iter().filter(|s| s.required) {
            if !fields.contains_key(spec.name) {
                return Err(InvalidRecord::missing(spec.name, spec.ty.allowed()));
            }
        }
        let text = |name: &str| fields.get(name).and_then(Value::as_str);
        let at = match text("at").and_then(|at| at.parse().ok()) {
            Some(at) => at,
            None => id
                .unix_ms()
                .map(Instant::from_ms)
                .unwrap_or(Instant::EARLIEST),
        };
        if !(Instant::EARLIEST..=Instant::LATEST).contains(&at) {
            // Only a foreign program writes such an id; text of such a day would not even sort.
            return Err(InvalidRecord::new("at", at, FieldType::Instant.allowed()));
        }
        let body = Body::read(kind, fields).ok_or_else(|| {
            InvalidRecord::new("record", kind.code(), "allowed are the fields of its kind")
        })?;
        Ok(Record {
            id,
            at,
            by: text("by").and_then(|id| id.parse().ok()),
            device: text("device").and_then(|id| id.parse().ok()),
            note: text("note").map(str::to_string),
            body,
            unknown,
        })
    }

    /// Holds the fields of a record against one another.
    pub fn consistent(&self) -> Result<(), InvalidRecord> {
        match &self.body {
            Body::Gather(g) if g.floor_laid > g.count => Err(InvalidRecord::new(
                "floor_laid",
                g.floor_laid,
                format!("allowed are at most the {} eggs gathered", g.count),
            )),
            Body::Candle(c) => {
                // What was found is not divided by species, so it could be counted for neither of two.
                one_species(&c.parts, None)?;
                let found = c.found.values().fold(0u32, |sum, n| sum.saturating_add(*n));
                same("found", "eggs candled", found, c.parts.eggs())
            }
            Body::Carton(c) => {
                one_species(&c.parts, Some(c.species))?;
                let eggs = c.eggs_per_carton.saturating_mul(c.cartons);
                same(
                    "parts",
                    "eggs per carton times cartons",
                    c.parts.eggs(),
                    eggs,
                )?;
                match c.best_by {
                    Some(best_by) if best_by < c.packed => Err(InvalidRecord::new(
                        "best_by",
                        best_by,
                        format!("allowed is {} or later, the day of packing", c.packed),
                    )),
                    _ => Ok(()),
                }
            }
            Body::Out(o) => {
                if o.carton.is_some() != o.cartons.is_some() {
                    let (given, missing) = if o.carton.is_some() {
                        ("carton", "cartons")
                    } else {
                        ("cartons", "carton")
                    };
                    return Err(InvalidRecord::missing(
                        missing,
                        format!("needed wherever {given} is given"),
                    ));
                }
                one_species(&o.parts, None)
            }
            Body::Recount(r) if r.lot.is_some() == r.species.is_some() => Err(InvalidRecord::new(
                "lot",
                if r.lot.is_some() {
                    "a lot and a species"
                } else {
                    "nothing"
                },
                "allowed is either a lot or a species",
            )),
            Body::Hold(h) => match h.until {
                Some(until) if until < h.from => Err(InvalidRecord::new(
                    "until",
                    until,
                    format!("allowed is {} or later, the first day held", h.from),
                )),
                _ => Ok(()),
            },
            _ => Ok(()),
        }
    }
}

fn same(field: &str, what: &str, got: u32, due: u32) -> Result<(), InvalidRecord> {
    if got == due {
        return Ok(());
    }
    Err(InvalidRecord::new(
        field,
        format!("{got} eggs"),
        format!("allowed are the {due} {what}"),
    ))
}

fn one_species(
    parts: &super::Parts,
    species: Option<crate::trade::Species>,
) -> Result<(), InvalidRecord> {
    let found = parts.species();
    if found.is_some() && (species.is_none() || species == found) {
        return Ok(());
    }
    let mut lots: Vec<_> = parts.0.keys().map(|lot| lot.species.code()).collect();
    lots.dedup();
    Err(InvalidRecord::new(
        "parts",
        lots.join(" and "),
        match species {
            Some(s) => format!(
                "allowed are lots of {} only: one species to a carton",
                s.code()
            ),
            None => "allowed are lots of one species".into(),
        },
    ))
}

/// The kind that stored fields name.
pub(super) fn kind_of(fields: &Fields) -> Result<Kind, InvalidRecord> {
    let word = fields
        .get("kind")
        .and_then(Value::as_str)
        .unwrap_or_default();
    Kind::from_code(word).ok_or_else(|| InvalidRecord::new("kind", word, kinds_allowed()))
}

fn kinds_allowed() -> String {
    let all: Vec<_> = Kind::ALL.iter().map(|k| k.code()).collect();
    format!("allowed are {}", all.join(", "))
}

/// The field of a kind, or a common one, by name.
pub(super) fn field(kind: Kind, name: &str) -> Option<&'static FieldSpec> {
    spec(kind).iter().chain(COMMON).find(|f| f.name == name)
}

impl Draft {
    /// Checks the draft and gives the fields as they are stored, in one form for each value.
    pub fn check(&self, id: Id, here: Where<'_>) -> Result<Fields, InvalidRecord> {
        let kind = Kind::from_code(&self.kind)
            .ok_or_else(|| InvalidRecord::new("kind", &self.kind, kinds_allowed()))?;
        time_allowed("at", self.at.unwrap_or(here.now), here.now)?;
        let mut fields = Fields::new();
        fields.insert("kind".into(), kind.code().into());
        for (name, value) in &self.fields {
            let spec = field(kind, name).ok_or_else(|| unknown_field(kind, name))?;
            if value.is_null() {
                continue;
            }
            fields.insert(name.clone(), known_value(spec.name, spec.ty, value, here)?);
        }
        Record::read(id, &fields)?.consistent()?;
        Ok(fields)
    }

    /// Checks the new values of an amendment against the kind that they are for.
    pub fn check_values(
        kind: Kind,
        set: &Fields,
        here: Where<'_>,
    ) -> Result<Fields, InvalidRecord> {
        let mut canonical = Fields::new();
        for (name, value) in set {
            if name == "at" {
                let value = FieldType::Instant.read(name, value)?;
                let at = value
                    .as_str()
                    .and_then(|v| v.parse().ok())
                    .unwrap_or(here.now);
                time_allowed("at", at, here.now)?;
                canonical.insert(name.clone(), value);
                continue;
            }
            let spec = field(kind, name)
                .filter(|f| f.name != "device")
                .ok_or_else(|| unknown_field(kind, name))?;
            if value.is_null() && !spec.required {
                canonical.insert(name.clone(), Value::Null);
            } else {
                canonical.insert(name.clone(), known_value(name, spec.ty, value, here)?);
            }
        }
        Ok(canonical)
    }
}

fn known_value(
    name: &str,
    ty: FieldType,
    value: &Value,
    here: Where<'_>,
) -> Result<Value, InvalidRecord> {
    let value = ty.read(name, value)?;
    ty.spelt(name, &value)?;
    let kind = match ty {
        FieldType::Ref(kind) => Some(kind),
        FieldType::AnyRecord => None,
        _ => return Ok(value),
    };
    let known = value
        .as_str()
        .and_then(|text| text.parse().ok())
        .is_some_and(|id| here.known.has(kind, id));
    if known {
        Ok(value)
    } else {
        Err(InvalidRecord::new(name, value, ty.allowed()))
    }
}

fn time_allowed(field: &str, at: Instant, now: Instant) -> Result<(), InvalidRecord> {
    const DAY_MS: i64 = 86_400_000;
    if at < Instant::EARLIEST || at.ms() > now.ms().saturating_add(DAY_MS) {
        return Err(InvalidRecord::new(
            field,
            at,
            format!(
                "allowed is a time from {} to {}",
                Instant::EARLIEST,
                now.plus_ms(DAY_MS)
            ),
        ));
    }
    Ok(())
}

fn unknown_field(kind: Kind, name: &str) -> InvalidRecord {
    let all: Vec<_> = spec(kind).iter().chain(COMMON).map(|f| f.name).collect();
    InvalidRecord::new(
        name,
        "a field of that name",
        format!("a {} has {}", kind.code(), all.join(", ")),
    )
}
