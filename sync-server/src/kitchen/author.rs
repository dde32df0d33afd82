//! What people decide at the screen, as records.
//!
//! The farm's replica is a phone's facade with an actor of its own, so a choice made here is made by
//! the code that makes it on a phone, and goes into the log by the very exchange that a phone uses,
//! as the screen's device, under its role. What the log does not take never happened: the replica
//! that held it is thrown away.

use pointdown_core::farm::{Answer, ErrorKind, Farm, FarmError};
use pointdown_core::record::{Id, Kind};

use super::SCREEN;
use crate::app::App;
use crate::error::ApiError;
use crate::exchange::{ExchangeError, exchange};
use crate::replica::ReplicaError;
use crate::store::{DeviceRow, Role};

/// The most messages in which one choice is carried over; a choice is a few hundred bytes.
const MOST_MESSAGES: usize = 50;

/// Why a choice was not carried out. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotDone {
    /// The choice cannot be made, or not any more.
    #[error(transparent)]
    Farm(#[from] FarmError),
    /// The log did not take it.
    #[error("the log did not take what was decided: {0}")]
    NotTaken(String),
    #[error(transparent)]
    Exchange(#[from] ExchangeError),
    #[error(transparent)]
    Replica(#[from] ReplicaError),
}

impl From<NotDone> for ApiError {
    fn from(e: NotDone) -> ApiError {
        match e {
            NotDone::Exchange(e) => e.into(),
            e => {
                tracing::error!(error = %e, "a choice at the screen failed");
                ApiError::internal()
            }
        }
    }
}

/// A choice, as the form names it.
#[derive(Debug, Clone)]
pub(super) struct Chosen {
    /// The line's whole name.
    pub(super) line: String,
    /// Its tag: line, state and choices as they were shown.
    pub(super) tag: String,
    /// Which of its choices, from 0.
    pub(super) choice: usize,
    /// The eggs that were counted.
    pub(super) counted: Option<u32>,
}

impl Chosen {
    /// Carries it out; gives the records that it made.
    pub(super) fn make(&self, farm: &Farm) -> Result<Vec<Id>, FarmError> {
        let all = farm.review()?;
        let gone = || {
            let message = "the line is gone, or stands otherwise than it was shown";
            FarmError::new(ErrorKind::NotFound, message)
        };
        let finding = all
            .iter()
            .find(|f| f.line == self.line && f.tag() == self.tag)
            .ok_or_else(gone)?;
        let choice = finding.choices.get(self.choice).ok_or_else(gone)?;
        let mut answer = Answer::new(choice.clone()).as_shown(finding);
        if choice.wants_count()
            && let Some(counted) = self.counted
        {
            answer = answer.counted(counted);
        }
        let logged = farm.decide(&self.line, answer)?;
        Ok(logged.into_iter().map(|one| one.id).collect())
    }
}

/// Takes back records that were made here. What came from elsewhere is mended where it came from.
pub(super) fn take_back(farm: &Farm, ids: &[Id], why: &str) -> Result<Vec<Id>, FarmError> {
    let here = farm.device().map(|id| id.to_string());
    for id in ids {
        let row = farm.record(*id)?;
        let device = row
            .as_ref()
            .and_then(|row| row.fields.get("device")?.as_str());
        if here.is_none() || device != here.as_deref() {
            let message = "this was not decided here";
            return Err(FarmError::new(ErrorKind::NotFound, message));
        }
    }
    ids.iter()
        .map(|id| farm.void(*id, why).map(|logged| logged.id))
        .collect()
}

/// Writes into the farm as a person at this screen. Returns when what was written is in the log.
pub(super) fn write<T>(
    app: &App,
    device: &DeviceRow,
    person: Id,
    work: impl FnOnce(&Farm) -> Result<T, FarmError>,
) -> Result<T, NotDone> {
    if device.role == Role::Reader {
        return Err(NotDone::NotTaken("this screen only reads".into()));
    }
    let (store, env) = (&*app.store, &app.env);
    let work = |farm: &Farm| {
        farm_as(farm, person)?;
        let done = work(farm);
        carry(app, device, farm)?;
        // Nothing of what failed was written; a device record may have been.
        done.map_err(NotDone::Farm)
    };
    // A plain refusal of the farm wrote nothing.
    let harmless = |e: &NotDone| matches!(e, NotDone::Farm(_));
    let done = app.replicas.write(store, env, device.farm, work, harmless);
    if done.is_ok() {
        app.wake.wake(device.farm);
    }
    done
}

/// Makes the replica write as this person, from the screen's own device record.
fn farm_as(farm: &Farm, person: Id) -> Result<(), FarmError> {
    // What is written waits for the exchange only where there is a server: here, this one.
    if farm.status()?.server.is_none() {
        farm.joined("here", "")?;
    }
    if farm.person() != Some(person) {
        farm.write_as(person)?;
    }
    if farm.device().is_none() {
        farm.name_device(SCREEN)?;
    }
    Ok(())
}

/// Carries what waits into the log.
fn carry(app: &App, device: &DeviceRow, farm: &Farm) -> Result<(), NotDone> {
    let broken = |e: FarmError| NotDone::NotTaken(e.message);
    for _ in 0..MOST_MESSAGES {
        let ask = farm.sync_ask().map_err(broken)?;
        let done = exchange(&*app.store, device.farm, device.id, &ask, app.now())?;
        app.metrics.exchanged(done.taken, done.refused);
        if done.taken > 0 {
            tracing::info!(farm = %device.farm, device = %device.id, taken = done.taken, "changes taken");
        }
        if !farm.sync_hear(&done.answer).map_err(broken)?.again {
            break;
        }
    }
    let status = farm.status().map_err(broken)?;
    if status.waiting == 0 {
        return Ok(());
    }
    Err(NotDone::NotTaken(status.refused.join("; ")))
}

/// The people of a farm who may be named as those who decide: by name, without those who left.
pub(super) fn people(farm: &Farm) -> Result<Vec<(Id, String)>, FarmError> {
    let rows = farm.list(&pointdown_core::farm::Filter {
        kind: Some(Kind::Person),
        ..Default::default()
    })?;
    let mut all: Vec<(Id, String)> = rows
        .into_iter()
        .filter(|row| !row.fields.contains_key("retired"))
        .filter_map(|row| Some((row.id, row.fields.get("name")?.as_str()?.to_owned())))
        .collect();
    all.sort_by(|a, b| (&a.1, a.0).cmp(&(&b.1, b.0)));
    Ok(all)
}
