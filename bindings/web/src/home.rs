//! What every screen needs to know at once.

use chrono::{Days, NaiveDate};
use pointdown_core::farm::{Farm, FarmError, Filter, Row};
use pointdown_core::record::{Body, Kind, Record};
use pointdown_core::trade::rules::{HousePolicy, RulePack, in_force};
use serde_json::{Value, json};

/// The farm's own record.
pub(crate) struct Setting {
    pub(crate) fields: Value,
    pub(crate) pack: Option<RulePack>,
    pub(crate) house: HousePolicy,
}

/// Reads the farm's own record; empty while it has not arrived.
pub(crate) fn setting(farm: &Farm) -> Result<Setting, FarmError> {
    let row = farm.record(farm.id())?;
    let fields = row.as_ref().map_or(Value::Null, |row| json!(row.fields));
    let body = row
        .and_then(|row| Record::read(row.id, &row.fields).ok())
        .map(|record| record.body);
    let (pack, house) = match body {
        Some(Body::Farm(body)) => (
            body.rule_pack
                .as_deref()
                .and_then(|code| in_force(code, body.rules.as_deref()).ok()),
            body.house.unwrap_or_default(),
        ),
        _ => (None, HousePolicy::default()),
    };
    Ok(Setting {
        fields,
        pack,
        house,
    })
}

/// Who, where, what waits, what is on hand, and how the exchange stands.
pub(crate) fn home(farm: &Farm) -> Result<Value, FarmError> {
    let today = farm.today()?;
    let setting = setting(farm)?;
    let in_use = |kind| -> Result<Vec<Value>, FarmError> {
        let rows = farm.list(&Filter {
            kind: Some(kind),
            ..Filter::default()
        })?;
        let mut rows: Vec<&Row> = rows
            .iter()
            .filter(|row| !row.fields.contains_key("retired"))
            .collect();
        rows.sort_by_key(|row| row.id);
        let one = |row: &Row| {
            json!({
                "id": row.id,
                "name": row.fields.get("name"),
                "species": row.fields.get("species"),
            })
        };
        Ok(rows.into_iter().map(one).collect())
    };
    let review = farm.review()?;
    Ok(json!({
        "farm": farm.id(),
        "name": farm.name()?,
        "zone": farm.zone()?,
        "today": today,
        "setting": setting.fields,
        "pack": setting.pack.as_ref().map(|pack| json!({
            "code": pack.code, "name": pack.name, "caution": pack.caution,
        })),
        "person": farm.person(),
        "device": farm.device(),
        "names": farm.names()?,
        "coops": in_use(Kind::Coop)?,
        "people": in_use(Kind::Person)?,
        "outlets": in_use(Kind::Outlet)?,
        "coolers": in_use(Kind::Cooler)?,
        "on_hand": farm.on_hand()?,
        "gathers": farm.list(&Filter {
            kind: Some(Kind::Gather),
            from: Some(today),
            to: Some(today),
            most: Some(30),
            ..Filter::default()
        })?,
        "review": review.len(),
        "urgent": review
            .iter()
            .filter(|f| f.weight == pointdown_core::book::review::Weight::Urgent)
            .count(),
        "status": farm.status()?,
    }))
}

/// Eggs gathered by day and species; nothing for a day that nobody knows about.
pub(crate) fn days(farm: &Farm, from: NaiveDate, to: NaiveDate) -> Result<Value, FarmError> {
    let mut all = Vec::new();
    let mut day = from;
    while day <= to && all.len() < 400 {
        let sheet = farm.sheet(day, day)?;
        let known = sheet.gathered.by_coop.iter().any(|row| row.rounds > 0);
        all.push(json!({
            "day": day,
            "eggs": known.then_some(sheet.gathered.eggs),
            "pulled": sheet.pulled.eggs,
            "by_species": sheet.gathered.by_species,
        }));
        day = match day.checked_add_days(Days::new(1)) {
            Some(next) => next,
            None => break,
        };
    }
    Ok(json!(all))
}
