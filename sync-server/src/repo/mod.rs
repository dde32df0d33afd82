//! `GET /v1/automerge`: the automerge-repo WebSocket protocol, so that any Automerge program can
//! open a farm's documents.
//!
//! The same tokens and walls as everywhere: a token says which farm, and only that farm's documents
//! are there. The token comes as `Authorization: Bearer` or, since browsers cannot set a header
//! here, as `?token=`; the log never shows a query. The reference client does not outlive a refused
//! upgrade, so a refusal is a message of its own and then the end.

mod message;
mod shadow;

use std::sync::Arc;
use std::time::Duration;

use axum::extract::ws::{CloseFrame, Message, WebSocket, WebSocketUpgrade, close_code};
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use pointdown_core::sync::MAX_BODY;
use serde::Deserialize;
use serde_bytes::Bytes;
use tokio::sync::Semaphore;
use tokio::time::{Instant, MissedTickBehavior, timeout};

use crate::app::{App, blocking};
use crate::auth::{admitted, bearer};
use crate::error::ApiError;
use crate::openapi::Refused;
use crate::secret::token_hash;
use crate::store::{DeviceKind, DeviceRow, Role, SecretHash};
use message::{Incoming, Metadata, Outgoing, VERSION, document_id};
use shadow::{Broken, Heard, Shadows};

/// How long a client may take to say who it is, and to take a message off its hands.
const PATIENCE: Duration = Duration::from_secs(20);

/// The most clients of one process: each may hold several documents in memory.
static ROOM: Semaphore = Semaphore::const_new(64);

/// The name of this server in the protocol.
const ME: &str = "pointdown-server";

#[derive(Deserialize)]
pub(crate) struct Asked {
    token: Option<String>,
}

/// The automerge-repo WebSocket protocol, version 1, over the farm's documents. A refusal comes as a
/// message, and then the end.
#[utoipa::path(
    get, path = "/v1/automerge", tag = "phones", security(("token" = [])),
    params(("token" = Option<String>, Query, description = "The token, where a header cannot be set.")),
    responses(
        (status = 101, description = "It goes on as a WebSocket; without a good token one that is \
                                      closed at once, with code 1008."),
        (status = 400, description = "No request for a WebSocket.", body = Refused),
    )
)]
pub(crate) async fn connect(
    State(app): State<Arc<App>>,
    Query(asked): Query<Asked>,
    headers: HeaderMap,
    upgrade: WebSocketUpgrade,
) -> Response {
    let token = bearer(&headers).or_else(|| token_hash(asked.token.as_deref()?));
    upgrade
        .max_message_size(MAX_BODY)
        .max_frame_size(MAX_BODY)
        .on_upgrade(move |socket| async move {
            let mut client = Client {
                socket,
                name: String::new(),
            };
            if let Err(End(code, why)) = client.serve(app, token).await {
                client.refuse(code, &why).await;
            }
        })
}

/// Why a connection ends: a code (RFC 6455, 7.4.1) and a sentence.
struct End(u16, String);

impl End {
    fn policy(why: &str) -> End {
        End(close_code::POLICY, why.into())
    }

    fn gone() -> End {
        End(close_code::AWAY, String::new())
    }
}

impl From<ApiError> for End {
    fn from(_: ApiError) -> End {
        End(close_code::ERROR, "the server made a mistake".into())
    }
}

struct Client {
    socket: WebSocket,
    /// How the other side calls itself.
    name: String,
}

impl Client {
    async fn serve(&mut self, app: Arc<App>, token: Option<SecretHash>) -> Result<(), End> {
        let (Some(token), Ok(_place)) = (token, ROOM.try_acquire()) else {
            return Err(match token {
                None => End::policy("this device has not joined, or was shut out"),
                Some(_) => End(close_code::AGAIN, "too many programs are connected".into()),
            });
        };
        let device = known(&app, token).await?;
        self.join().await?;
        tracing::info!(farm = %device.farm, device = %device.id, "a program opened the documents");
        let mut woken = app.wake.of(device.farm);
        let mut closing = app.wake.closing();
        let mut beat = tokio::time::interval(app.heartbeat);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut shadows = Shadows::new(
            device.farm,
            device.id,
            app.automerge_writes && device.role != Role::Reader,
        );
        let mut alive = Instant::now();
        loop {
            let (next, heard) = tokio::select! {
                () = async { let _ = closing.wait_for(|closing| *closing).await; } => return Err(End::gone()),
                frame = self.socket.recv() => {
                    alive = Instant::now();
                    match frame {
                        Some(Ok(Message::Binary(bytes))) => hear(&app, shadows, bytes.to_vec()).await?,
                        Some(Ok(Message::Ping(_) | Message::Pong(_))) => continue,
                        Some(Ok(Message::Text(_))) => {
                            return Err(End(close_code::UNSUPPORTED, "messages are binary".into()));
                        }
                        Some(Ok(Message::Close(_))) | None => return Ok(()),
                        Some(Err(e)) => return Err(End(close_code::PROTOCOL, e.to_string())),
                    }
                }
                _ = woken.changed() => {
                    known(&app, token).await?;
                    work(&app, shadows, |shadows, app| shadows.news(&*app.store)).await?
                }
                _ = beat.tick() => {
                    // Whoever does not even answer to a ping is gone.
                    if alive.elapsed() > app.heartbeat * 3 + PATIENCE {
                        return Err(End::gone());
                    }
                    known(&app, token).await?;
                    self.send(Message::Ping(Default::default())).await?;
                    shadows.drop_idle();
                    work(&app, shadows, |shadows, app| shadows.news(&*app.store)).await?
                }
            };
            shadows = next;
            if heard.taken > 0 {
                tracing::info!(farm = %device.farm, device = %device.id, taken = heard.taken, "changes taken");
                app.changed(device.farm);
            }
            self.tell(&heard).await?;
        }
    }

    /// The first message says who it is.
    async fn join(&mut self) -> Result<(), End> {
        let first = timeout(PATIENCE, self.socket.recv())
            .await
            .map_err(|_| End::policy("the first message did not come in time"))?;
        let Some(Ok(Message::Binary(bytes))) = first else {
            return Err(End::policy("the first message must be \"join\""));
        };
        let join = Incoming::read(&bytes).map_err(|why| End(close_code::INVALID, why))?;
        if join.kind != "join"
            || !join
                .supported_protocol_versions
                .iter()
                .any(|v| v == VERSION)
        {
            return Err(End::policy(
                "the first message must be \"join\" with version \"1\"",
            ));
        }
        self.name = join
            .sender_id
            .unwrap_or_default()
            .chars()
            .take(200)
            .collect();
        let peer = Outgoing {
            kind: "peer",
            selected_protocol_version: Some(VERSION),
            peer_metadata: Some(Metadata { is_ephemeral: true }),
            ..self.message()
        }
        .encode();
        self.send(Message::Binary(peer.into())).await
    }

    fn message(&self) -> Outgoing<'_> {
        Outgoing {
            sender_id: ME,
            target_id: &self.name,
            ..Outgoing::default()
        }
    }

    async fn tell(&mut self, heard: &Heard) -> Result<(), End> {
        let mut all = Vec::new();
        for why in &heard.refused {
            tracing::warn!(why, "a program wrote what is not taken");
            let message = Some(why.as_str());
            all.push(
                Outgoing {
                    kind: "error",
                    message,
                    ..self.message()
                }
                .encode(),
            );
        }
        for id in &heard.unavailable {
            let document_id = Some(id.as_str());
            all.push(
                Outgoing {
                    kind: "doc-unavailable",
                    document_id,
                    ..self.message()
                }
                .encode(),
            );
        }
        for (id, data) in &heard.messages {
            let sync = Outgoing {
                kind: "sync",
                document_id: Some(id),
                data: Some(Bytes::new(data)),
                ..self.message()
            };
            all.push(sync.encode());
        }
        for bytes in all {
            self.send(Message::Binary(bytes.into())).await?;
        }
        Ok(())
    }

    /// A client that takes nothing off the wire is not waited for.
    async fn send(&mut self, message: Message) -> Result<(), End> {
        match timeout(PATIENCE, self.socket.send(message)).await {
            Ok(Ok(())) => Ok(()),
            _ => Err(End::gone()),
        }
    }

    async fn refuse(&mut self, code: u16, why: &str) {
        if !why.is_empty() {
            let message = Some(why);
            let error = Outgoing {
                kind: "error",
                message,
                ..self.message()
            }
            .encode();
            if self.send(Message::Binary(error.into())).await.is_err() {
                return;
            }
        }
        let reason = why.chars().take(100).collect::<String>().into();
        let _ = self
            .send(Message::Close(Some(CloseFrame { code, reason })))
            .await;
    }
}

/// The device of a token that may read documents.
async fn known(app: &Arc<App>, token: SecretHash) -> Result<DeviceRow, End> {
    let store = app.store.clone();
    blocking(move || Ok(admitted(&*store, &token)?))
        .await?
        .filter(|device| device.kind != DeviceKind::Screen.as_str())
        .ok_or_else(|| End::policy("this device has not joined, or was shut out"))
}

/// Takes one message.
async fn hear(app: &Arc<App>, shadows: Shadows, bytes: Vec<u8>) -> Result<(Shadows, Heard), End> {
    let message = Incoming::read(&bytes).map_err(|why| End(close_code::INVALID, why))?;
    let (Some(id), Some(data)) = (message.document_id, message.data) else {
        // Who is on-line, what others have heard: nothing that concerns this server.
        return Ok((shadows, Heard::default()));
    };
    if message.kind != "request" && message.kind != "sync" {
        return Ok((shadows, Heard::default()));
    }
    let now = app.now();
    work(app, shadows, move |shadows, app| {
        shadows.hear(&*app.store, &id, document_id(&id), &data, now)
    })
    .await
}

/// Works on the documents on a thread that may block.
async fn work(
    app: &Arc<App>,
    mut shadows: Shadows,
    work: impl FnOnce(&mut Shadows, &App) -> Result<Heard, Broken> + Send + 'static,
) -> Result<(Shadows, Heard), End> {
    let app = app.clone();
    let (shadows, heard) = blocking(move || {
        let heard = work(&mut shadows, &app);
        Ok((shadows, heard))
    })
    .await?;
    match heard {
        Ok(heard) => Ok((shadows, heard)),
        Err(Broken::Store(e)) => Err(ApiError::from(e).into()),
        Err(Broken::Message(why)) => Err(End(close_code::INVALID, why)),
    }
}
