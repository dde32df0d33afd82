use std::io::{BufRead, BufReader};
use std::sync::Arc;
use std::time::Duration;

use ureq::unversioned::resolver::DefaultResolver;
use ureq::unversioned::transport::{Connector as _, TcpConnector};

use super::exchange::Joined;
use super::newcomer::Newcomer;
use super::pin::Pinned;
use super::{Env, ErrorKind, Farm, FarmError};
use crate::record::InvalidRecord;
use crate::store::Location;
use crate::sync::{InviteLink, JoinAnswer, JoinAsk, MAX_BODY, Refused, pin_text, read_pin};

/// More round trips than any exchange needs; past that something goes in circles.
const MOST_ROUNDS: u32 = 10_000;

/// What an exchange with the server did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize)]
pub struct Exchange {
    /// Changes that were not here before.
    pub received: usize,
    /// Changes that left the outbox.
    pub sent: u64,
    /// Changes that still wait.
    pub waiting: u64,
    /// Messages sent.
    pub rounds: u32,
}

/// How a device joins a server.
#[derive(Debug, Clone)]
pub struct Join<'a> {
    /// The server's address, such as `http://192.0.2.7:4680`, or the whole link of an invite, see
    /// [`InviteLink`].
    pub url: &'a str,
    /// The code of the invite; not looked at where there is a link.
    pub invite: &'a str,
    /// The name of this device.
    pub device: &'a str,
}

impl Farm {
    /// Joins a server with the farm that is here, and exchanges everything.
    pub fn join(&self, join: &Join<'_>) -> Result<Exchange, FarmError> {
        self.join_by(join, |ask| ask())?;
        self.sync()
    }

    /// Joins a server whose answer is had by `carry`, and keeps that it was joined.
    pub(super) fn join_by(
        &self,
        join: &Join<'_>,
        carry: impl FnOnce(Asking) -> Result<JoinAnswer, FarmError>,
    ) -> Result<(), FarmError> {
        let (farm, actors) = {
            let inner = self.lock();
            (inner.me.farm, inner.me.actors.clone())
        };
        let link = link(join)?;
        let (to, device) = (link.clone(), join.device.to_string());
        let ask = move || ask_in(&to, &device, Some(farm), actors);
        let answer = carry(Box::new(ask))?;
        if answer.farm != farm {
            return Err(FarmError::new(
                ErrorKind::OtherFarm,
                "the invite is for another farm than the one kept here; nothing was changed",
            ));
        }
        self.keep_joined(&joined(&link, answer.token, self.env.now().ms()))
    }

    /// Joins a server with a new, empty database, and takes the farm of the invite. Who writes here
    /// is kept with the database from the first: if the connection is lost, the next exchange or
    /// the first record settles it.
    pub fn join_new(
        location: &Location,
        env: Arc<dyn Env>,
        join: &Join<'_>,
        person: &str,
    ) -> Result<Farm, FarmError> {
        let newcomer = Newcomer::new(person, join.device)?;
        let link = link(join)?;
        let answer = ask_in(&link, join.device, None, Vec::new())?;
        let joined = joined(&link, answer.token, env.now().ms());
        let farm = Farm::make_with(location, env, answer.farm, |tx| {
            super::exchange::remember_server(tx, &joined)?;
            newcomer.remember(tx)
        })?;
        farm.sync()?;
        Ok(farm)
    }

    /// Exchanges with the joined server until both sides hold the same, but for what the server
    /// refuses. Losing the connection halfway loses nothing; the next exchange goes on from there.
    ///
    /// Where someone joined and was not named yet, that is settled once the farm is here.
    pub fn sync(&self) -> Result<Exchange, FarmError> {
        self.sync_by(&post)
    }

    /// An exchange whose messages are brought to the server by `carry`.
    pub(super) fn sync_by(&self, carry: &Carry<'_>) -> Result<Exchange, FarmError> {
        let mut done = self.exchange(carry)?;
        if self.settle_newcomer()? {
            let more = self.exchange(carry)?;
            done.received += more.received;
            done.sent += more.sent;
            done.waiting = more.waiting;
            done.rounds += more.rounds;
        }
        Ok(done)
    }

    fn exchange(&self, carry: &Carry<'_>) -> Result<Exchange, FarmError> {
        let joined = self.server()?;
        let agent = agent(joined.pin.as_deref(), Some(Duration::from_secs(60)))?;
        let mut done = Exchange::default();
        let before = self.status()?.waiting;
        for _ in 0..MOST_ROUNDS {
            let answer = carry(&agent, &joined, &self.sync_ask()?)?;
            let heard = self.sync_hear(&answer)?;
            done.received += heard.changes;
            done.rounds += 1;
            if !heard.again {
                break;
            }
        }
        done.waiting = self.status()?.waiting;
        done.sent = before.saturating_sub(done.waiting);
        self.tidy()?;
        if joined.is_old(self.env.now()) {
            // Everything is exchanged; where this fails the next time will do.
            let _ = self.renew_token();
        }
        Ok(done)
    }

    /// Asks the server for an invite for another device of this farm: its code.
    pub fn invite(&self) -> Result<String, FarmError> {
        Ok(self.invite_link()?.code)
    }

    /// Asks the server for an invite for another device of this farm, as a link that also says
    /// where the server is and by which key it is known.
    pub fn invite_link(&self) -> Result<InviteLink, FarmError> {
        let joined = self.server()?;
        let answer = agent(joined.pin.as_deref(), Some(Duration::from_secs(30)))?
            .post(format!("{}/v1/invites", joined.url))
            .header("authorization", format!("Bearer {}", joined.token))
            .send_empty()
            .map_err(|e| unreachable_server(&joined.url, &e))?;
        let body = body(answer)?;
        let invite: serde_json::Value = serde_json::from_slice(&body).unwrap_or_default();
        let code = invite["code"].as_str().ok_or_else(unreadable)?;
        Ok(InviteLink {
            code: code.into(),
            pin: joined.pin.as_deref().map(read_pin).transpose()?,
            url: joined.url,
        })
    }

    /// Takes a fresh token in the place of this device's, as [`Farm::sync`] does by itself after
    /// thirty days. The old one is dead once the fresh one was used, by the next exchange.
    pub fn renew_token(&self) -> Result<(), FarmError> {
        let joined = self.server()?;
        let answer = agent(joined.pin.as_deref(), Some(Duration::from_secs(30)))?
            .post(format!("{}/v1/token", joined.url))
            .header("authorization", format!("Bearer {}", joined.token))
            .send_empty()
            .map_err(|e| unreachable_server(&joined.url, &e))?;
        let body = body(answer)?;
        let fresh: serde_json::Value = serde_json::from_slice(&body).unwrap_or_default();
        self.keep_token(fresh["token"].as_str().ok_or_else(unreadable)?)
    }

    /// Waits for the server's word that there is something newer, then calls `poke`; until the
    /// connection ends or `poke` says `false`. The server speaks at the start and at least every
    /// half minute.
    pub fn listen(&self, mut poke: impl FnMut() -> bool) -> Result<(), FarmError> {
        let joined = self.server()?;
        let reader = events(&agent(joined.pin.as_deref(), None)?, &joined)?;
        for line in reader.lines() {
            let line = line.map_err(|e| {
                FarmError::new(ErrorKind::Network, format!("the connection ended: {e}"))
            })?;
            if line == "event: newer" && !poke() {
                return Ok(());
            }
        }
        Ok(())
    }

    /// Whether the joined server answers at an address.
    pub(super) fn answers(&self, url: &str, joined: &Joined) -> bool {
        agent(joined.pin.as_deref(), Some(Duration::from_secs(3)))
            .ok()
            .and_then(|agent| agent.get(format!("{url}/health/live")).call().ok())
            .is_some_and(|answer| answer.status() == 200)
    }

    /// The joined server is at another address now.
    pub(super) fn moved_to(&self, url: &str) -> Result<(), FarmError> {
        let url = url.to_string();
        let joined = self.server()?;
        let mut inner = self.lock();
        inner.write(|tx| Ok(tx.set_meta("server", &Joined { url, ..joined })?))
    }

    pub(super) fn server(&self) -> Result<Joined, FarmError> {
        self.lock().store.read(|tx| {
            tx.meta::<Joined>("server")?.ok_or_else(|| {
                FarmError::new(
                    ErrorKind::NotJoined,
                    "no server was joined yet; join one first",
                )
            })
        })
    }
}

/// Asks a server to let this farm in.
pub(super) type Asking = Box<dyn FnOnce() -> Result<JoinAnswer, FarmError> + Send>;

/// Brings one message to the server, and its answer back.
pub(super) type Carry<'a> = dyn Fn(&ureq::Agent, &Joined, &[u8]) -> Result<Vec<u8>, FarmError> + 'a;

/// Sends one message of an exchange.
pub(super) fn post(agent: &ureq::Agent, joined: &Joined, ask: &[u8]) -> Result<Vec<u8>, FarmError> {
    let answer = agent
        .post(format!("{}/v1/sync", joined.url))
        .header("authorization", format!("Bearer {}", joined.token))
        .header("content-type", "application/cbor")
        .send(ask)
        .map_err(|e| unreachable_server(&joined.url, &e))?;
    body(answer)
}

/// What the server says of news, line by line.
pub(super) fn events(
    agent: &ureq::Agent,
    joined: &Joined,
) -> Result<impl BufRead + use<>, FarmError> {
    let answer = agent
        .get(format!("{}/v1/events", joined.url))
        .header("authorization", format!("Bearer {}", joined.token))
        .call()
        .map_err(|e| unreachable_server(&joined.url, &e))?;
    if answer.status() != 200 {
        body(answer)?;
        let message = "the server answered with no stream of events";
        return Err(FarmError::new(ErrorKind::Damaged, message));
    }
    Ok(BufReader::new(answer.into_body().into_reader()))
}

/// What speaks HTTP: to a server with this pin, or to any that a certificate authority answers
/// for. Without a most the answer may go on for ever.
pub(super) fn agent(pin: Option<&str>, most: Option<Duration>) -> Result<ureq::Agent, FarmError> {
    let soon = Some(Duration::from_secs(10));
    let config = ureq::Agent::config_builder()
        .timeout_connect(soon)
        .timeout_recv_response(if most.is_none() { soon } else { None })
        .timeout_global(most)
        .http_status_as_error(false)
        // A token goes to the server that was joined and nowhere else.
        .max_redirects(0)
        .max_redirects_will_error(false)
        .build();
    let Some(pin) = pin else {
        return Ok(ureq::Agent::new_with_config(config));
    };
    let pinned = Pinned::new(read_pin(pin)?)
        .map_err(|e| FarmError::new(ErrorKind::Network, format!("no TLS to be had: {e}")))?;
    let connector = TcpConnector::default().chain(pinned);
    let resolver = DefaultResolver::default();
    Ok(ureq::Agent::with_parts(config, connector, resolver))
}

fn joined(link: &InviteLink, token: String, since: i64) -> Joined {
    Joined {
        url: link.url.clone(),
        token,
        pin: link.pin.as_ref().map(pin_text),
        since,
    }
}

/// The link that was given, or one of an address and a code.
fn link(join: &Join<'_>) -> Result<InviteLink, FarmError> {
    if join.url.contains('#') {
        return Ok(join.url.parse()?);
    }
    Ok(InviteLink {
        url: join.url.trim_end_matches('/').into(),
        code: join.invite.trim().into(),
        pin: None,
    })
}

fn unreadable() -> FarmError {
    FarmError::new(ErrorKind::Damaged, "the server's answer cannot be read")
}

fn ask_in(
    link: &InviteLink,
    device: &str,
    farm: Option<crate::record::Id>,
    actors: Vec<String>,
) -> Result<JoinAnswer, FarmError> {
    let url = link.url.as_str();
    if !url.starts_with("http://") && !url.starts_with("https://") {
        let allowed = "allowed is an address such as http://192.0.2.7:4680";
        return Err(InvalidRecord::new("url", format!("{url:?}"), allowed).into());
    }
    let ask = JoinAsk {
        invite: link.code.clone(),
        farm,
        name: device.to_string(),
        actors,
    };
    let pin = link.pin.as_ref().map(pin_text);
    let answer = agent(pin.as_deref(), Some(Duration::from_secs(30)))?
        .post(format!("{url}/v1/join"))
        .send_json(&ask)
        .map_err(|e| unreachable_server(url, &e))?;
    serde_json::from_slice(&body(answer)?).map_err(|_| unreadable())
}

/// The body of a good answer; the server's own words for a refusal.
fn body(answer: ureq::http::Response<ureq::Body>) -> Result<Vec<u8>, FarmError> {
    let status = answer.status();
    let body = answer
        .into_body()
        .into_with_config()
        .limit(2 * MAX_BODY as u64)
        .read_to_vec()
        .map_err(|e| FarmError::new(ErrorKind::Network, format!("the answer broke off: {e}")))?;
    if status.is_success() {
        return Ok(body);
    }
    let words = serde_json::from_slice::<Refused>(&body)
        .map(|r| r.message)
        .unwrap_or_else(|_| format!("it answered {status}"));
    // Too slow, or too often: both pass.
    let later = matches!(status.as_u16(), 408 | 429);
    let kind = if status.is_server_error() || later {
        ErrorKind::Network
    } else {
        ErrorKind::Refused
    };
    Err(FarmError::new(kind, format!("the server refused: {words}")))
}

fn unreachable_server(url: &str, e: &ureq::Error) -> FarmError {
    FarmError::new(
        ErrorKind::Network,
        format!("the server at {url} cannot be reached ({e}); nothing is lost, try again later"),
    )
}
