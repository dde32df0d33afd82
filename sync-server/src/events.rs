//! Server-sent events: "there is something newer".
//!
//! A wake-up carries no data; whoever wakes looks into the store. So a stream sees at one glance
//! that the log grew and that its device was shut out, whoever did it and in whichever process.

use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::State;
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use pointdown_core::record::Id;
use tokio::sync::watch;
use tokio::time::{Interval, MissedTickBehavior};

use crate::app::{App, blocking};
use crate::auth::{Device, admitted};
use crate::error::ApiError;
use crate::limits::Counted;
use crate::openapi::Refused;
use crate::store::{DeviceRow, SecretHash};

/// Server-sent events: `newer` with the number of the last change, at once and whenever it grew.
#[utoipa::path(
    get, path = "/v1/events", tag = "phones", security(("token" = [])),
    responses(
        (status = 200, description = "The stream.", body = String,
         content_type = "text/event-stream"),
        (status = 401, description = "No token, or one that is not let in.", body = Refused),
        (status = 429, description = "Too many streams of this device.", body = Refused),
    )
)]
pub(crate) async fn for_phone(
    State(app): State<Arc<App>>,
    Device(device): Device,
) -> Result<Response, ApiError> {
    listen(app, device)
}

/// The event stream of a device: the cursor at once, and again whenever it moved.
pub(crate) fn listen(app: Arc<App>, device: DeviceRow) -> Result<Response, ApiError> {
    let counted = app.usage.stream(device.id)?;
    let mut beat = tokio::time::interval(app.heartbeat);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    beat.reset();
    let listener = Listener {
        woken: app.wake.of(device.farm),
        closing: app.wake.closing(),
        farm: device.farm,
        token: device.token,
        beat,
        told: None,
        app,
        _counted: counted,
    };
    let events = stream::unfold(listener, |mut listener| async {
        let event = listener.next().await?;
        Some((Ok::<_, Infallible>(event), listener))
    });
    // A proxy that collects an answer before it passes it on would keep the news to itself.
    Ok(([("x-accel-buffering", "no")], Sse::new(events)).into_response())
}

struct Listener {
    app: Arc<App>,
    woken: watch::Receiver<()>,
    closing: watch::Receiver<bool>,
    farm: Id,
    token: SecretHash,
    beat: Interval,
    /// The cursor that was told last.
    told: Option<u64>,
    _counted: Counted<Id>,
}

impl Listener {
    /// The next event; nothing when the stream ends.
    async fn next(&mut self) -> Option<Event> {
        loop {
            let mut quiet = false;
            if self.told.is_some() {
                tokio::select! {
                    _ = self.closing.wait_for(|closing| *closing) => return None,
                    _ = self.woken.changed() => {}
                    _ = self.beat.tick() => quiet = true,
                }
            }
            let cursor = self.look().await?;
            if self.told != Some(cursor) {
                self.told = Some(cursor);
                let data = format!("{{\"cursor\":{cursor}}}");
                return Some(Event::default().event("newer").data(data));
            }
            if quiet {
                return Some(Event::default().comment("still here"));
            }
        }
    }

    /// The head of the log; nothing where the device is no longer let in or the store fails.
    async fn look(&self) -> Option<u64> {
        let (store, farm, token) = (self.app.store.clone(), self.farm, self.token);
        blocking(move || {
            if admitted(&*store, &token)?.is_none() {
                return Err(ApiError::token());
            }
            Ok(store.head(farm)?)
        })
        .await
        .ok()
    }
}
