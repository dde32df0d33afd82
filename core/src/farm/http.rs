use std::io::{BufRead, BufReader};
use std::sync::Arc;
use std::time::Duration;

use super::exchange::Joined;
use super::newcomer::Newcomer;
use super::{Env, ErrorKind, Farm, FarmError};
use crate::record::InvalidRecord;
use crate::store::Location;
use crate::sync::{JoinAnswer, JoinAsk, MAX_BODY, Refused};

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
    /// The server's address, such as `http://192.0.2.7:4680`.
    pub url: &'a str,
    /// The code of the invite.
    pub invite: &'a str,
    /// The name of this device.
    pub device: &'a str,
}

impl Farm {
    /// Joins a server with the farm that is here, and exchanges everything.
    pub fn join(&self, join: &Join<'_>) -> Result<Exchange, FarmError> {
        let (farm, actors) = {
            let inner = self.lock();
            (inner.me.farm, inner.me.actors.clone())
        };
        let answer = ask_in(join, Some(farm), actors)?;
        if answer.farm != farm {
            return Err(FarmError::new(
                ErrorKind::OtherFarm,
                "the invite is for another farm than the one kept here; nothing was changed",
            ));
        }
        self.joined(join.url, &answer.token)?;
        self.sync()
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
        let answer = ask_in(join, None, Vec::new())?;
        let farm = Farm::make_with(location, env, answer.farm, |tx| {
            super::exchange::remember_server(tx, join.url, &answer.token)?;
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
        let mut done = self.exchange()?;
        if self.settle_newcomer()? {
            let more = self.exchange()?;
            done.received += more.received;
            done.sent += more.sent;
            done.waiting = more.waiting;
            done.rounds += more.rounds;
        }
        Ok(done)
    }

    fn exchange(&self) -> Result<Exchange, FarmError> {
        let joined = self.server()?;
        let agent = agent(Duration::from_secs(60));
        let mut done = Exchange::default();
        let before = self.status()?.waiting;
        for _ in 0..MOST_ROUNDS {
            let ask = self.sync_ask()?;
            let answer = agent
                .post(format!("{}/v1/sync", joined.url))
                .header("authorization", format!("Bearer {}", joined.token))
                .header("content-type", "application/cbor")
                .send(ask.as_slice())
                .map_err(|e| unreachable_server(&joined.url, &e))?;
            let body = body(answer)?;
            let heard = self.sync_hear(&body)?;
            done.received += heard.changes;
            done.rounds += 1;
            if !heard.again {
                break;
            }
        }
        done.waiting = self.status()?.waiting;
        done.sent = before.saturating_sub(done.waiting);
        self.tidy()?;
        Ok(done)
    }

    /// Asks the server for an invite for another device of this farm.
    pub fn invite(&self) -> Result<String, FarmError> {
        let joined = self.server()?;
        let answer = agent(Duration::from_secs(30))
            .post(format!("{}/v1/invites", joined.url))
            .header("authorization", format!("Bearer {}", joined.token))
            .send_empty()
            .map_err(|e| unreachable_server(&joined.url, &e))?;
        let body = body(answer)?;
        let invite: serde_json::Value = serde_json::from_slice(&body).unwrap_or_default();
        invite["code"]
            .as_str()
            .map(str::to_string)
            .ok_or_else(|| FarmError::new(ErrorKind::Damaged, "the server's answer cannot be read"))
    }

    /// Waits for the server's word that there is something newer, then calls `poke`; until the
    /// connection ends or `poke` says `false`. The server speaks at the start and at least every
    /// half minute.
    pub fn listen(&self, mut poke: impl FnMut() -> bool) -> Result<(), FarmError> {
        let joined = self.server()?;
        let answer = ureq::Agent::new_with_config(
            ureq::Agent::config_builder()
                .timeout_connect(Some(Duration::from_secs(10)))
                .timeout_recv_response(Some(Duration::from_secs(10)))
                .http_status_as_error(false)
                .build(),
        )
        .get(format!("{}/v1/events", joined.url))
        .header("authorization", format!("Bearer {}", joined.token))
        .call()
        .map_err(|e| unreachable_server(&joined.url, &e))?;
        if answer.status() != 200 {
            body(answer)?;
            return Ok(());
        }
        let reader = BufReader::new(answer.into_body().into_reader());
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

    fn server(&self) -> Result<Joined, FarmError> {
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

fn agent(most: Duration) -> ureq::Agent {
    ureq::Agent::new_with_config(
        ureq::Agent::config_builder()
            .timeout_connect(Some(Duration::from_secs(10)))
            .timeout_global(Some(most))
            .http_status_as_error(false)
            .build(),
    )
}

fn ask_in(
    join: &Join<'_>,
    farm: Option<crate::record::Id>,
    actors: Vec<String>,
) -> Result<JoinAnswer, FarmError> {
    let url = join.url.trim_end_matches('/');
    if !url.starts_with("http://") && !url.starts_with("https://") {
        let allowed = "allowed is an address such as http://192.0.2.7:4680";
        return Err(InvalidRecord::new("url", format!("{url:?}"), allowed).into());
    }
    let ask = JoinAsk {
        invite: join.invite.trim().to_string(),
        farm,
        name: join.device.to_string(),
        actors,
    };
    let answer = agent(Duration::from_secs(30))
        .post(format!("{url}/v1/join"))
        .send_json(&ask)
        .map_err(|e| unreachable_server(url, &e))?;
    serde_json::from_slice(&body(answer)?)
        .map_err(|_| FarmError::new(ErrorKind::Damaged, "the server's answer cannot be read"))
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
    let kind = if status.is_server_error() {
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
