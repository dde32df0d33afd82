use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use chrono::{Days, NaiveDate};
use pointdown_core::book::Sheet;
use pointdown_core::book::due::Now;
use pointdown_core::farm::{Farm, FarmError};
use pointdown_core::record::Zone;
use serde::{Deserialize, Serialize};

use super::SCREEN;
use super::seat::{devices, look};
use crate::app::App;
use crate::auth::Screen;
use crate::error::ApiError;
use crate::openapi::Refused;
use crate::store::{DeviceKind, DeviceRow};

/// Which farm day; today where none is named.
#[derive(Deserialize)]
pub(super) struct Ask {
    day: Option<NaiveDate>,
}

/// What the page shows.
#[derive(Serialize)]
pub(super) struct Shown {
    /// The farm's name, once its set-up has come.
    name: Option<String>,
    zone: Zone,
    day: NaiveDate,
    today: NaiveDate,
    previous: Option<NaiveDate>,
    /// The day after, unless it has not begun.
    next: Option<NaiveDate>,
    sheet: Sheet,
    sheet_hash: String,
    /// What is due next and why; only today.
    next_due: Option<Now>,
    /// Records of all days.
    records: u64,
    /// Phones that may still bring something.
    phones: Vec<Phone>,
    /// The server's clock, milliseconds since 1970 UTC.
    now: i64,
}

/// A phone and when it last synced.
#[derive(Serialize)]
struct Phone {
    name: String,
    heard_at: Option<i64>,
}

/// The farm's combined totals of a day.
#[utoipa::path(
    get, path = "/kitchen/sheet", tag = "kitchen screen", security(("screen" = [])),
    params(("day" = Option<String>, Query, description = "Which farm day, as 2026-11-25; today without it.")),
    responses(
        (status = 200, description = "What the page shows.", body = serde_json::Value),
        (status = 400, description = "Something is not allowed; it is named.", body = Refused),
        (status = 401, description = "No cookie, or one that is not let in.", body = Refused),
    )
)]
pub(super) async fn sheet(
    State(app): State<Arc<App>>,
    Screen(device): Screen,
    ask: Result<Query<Ask>, QueryRejection>,
) -> Result<Json<Shown>, ApiError> {
    let Query(Ask { day }) = ask?;
    let phones = phones(devices(&app, device.farm).await?);
    look(app, device.farm, move |app, farm| {
        shown(farm, day, phones, app.now())
    })
    .await
    .map(Json)
}

fn phones(devices: Vec<DeviceRow>) -> Vec<Phone> {
    devices
        .into_iter()
        .filter(|d| d.revoked_at.is_none() && d.kind == DeviceKind::Phone.as_str())
        // A screen that may decide is kept as a phone is, and brings nothing of its own.
        .filter(|d| d.name != SCREEN)
        .map(|d| Phone {
            name: d.name,
            heard_at: d.heard_at,
        })
        .collect()
}

fn shown(
    farm: &Farm,
    day: Option<NaiveDate>,
    phones: Vec<Phone>,
    now: i64,
) -> Result<Shown, FarmError> {
    let today = farm.today()?;
    let day = day.unwrap_or(today);
    let next = day.checked_add_days(Days::new(1)).filter(|d| *d <= today);
    Ok(Shown {
        name: farm.name()?,
        zone: farm.zone()?,
        day,
        today,
        previous: day.checked_sub_days(Days::new(1)),
        next,
        sheet: farm.sheet(day, day)?,
        sheet_hash: farm.sheet_hash(day, day)?,
        next_due: (day == today).then(|| farm.now()).transpose()?,
        records: farm.record_count()?,
        phones,
        now,
    })
}
