//! What families do in the evening, all at once.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use pointdown_core::farm::{Env as _, System};
use pointdown_core::ledger::read_change;
use pointdown_core::record::Hash;
use pointdown_core::sync::{Answer, Ask, VERSION, pack, unpack};
use serde_bytes::ByteArray;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;

use crate::Failure;
use crate::client::Client;
use crate::families::{Family, Phone};
use crate::servers::Servers;

/// How often a request that failed is sent again; phones do so for ever.
const TRIES: usize = 5;

/// What was seen of the syncs.
#[derive(Default)]
pub(crate) struct Seen {
    /// How long each took, in milliseconds.
    pub(crate) ms: Vec<f32>,
    pub(crate) firsts: usize,
    pub(crate) repeated: usize,
}

/// Event streams held open.
pub(crate) struct Streams {
    open: Arc<AtomicUsize>,
    woken: Arc<AtomicUsize>,
    _all: JoinSet<()>,
}

impl Streams {
    pub(crate) fn open(&self) -> usize {
        self.open.load(Ordering::SeqCst)
    }

    /// Events beyond the first of each stream.
    pub(crate) fn woken(&self) -> usize {
        self.woken.load(Ordering::SeqCst)
    }
}

/// Opens the second phone's event stream of each of these families, and waits until all spoke.
pub(crate) async fn streams(servers: &Servers, of: &[Family]) -> Result<Streams, Failure> {
    let (open, woken) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
    let mut all = JoinSet::new();
    for (n, family) in of.iter().enumerate() {
        let (address, token) = (servers.address(n + 1), family.phones[1].token());
        let (open, woken) = (open.clone(), woken.clone());
        all.spawn(async move {
            let Ok(mut stream) = TcpStream::connect(address).await else {
                return;
            };
            let request = format!(
                "GET /v1/events HTTP/1.1\r\nhost: load\r\nauthorization: Bearer {token}\r\n\r\n"
            );
            if stream.write_all(request.as_bytes()).await.is_err() {
                return;
            }
            let (mut buffer, mut heard) = ([0; 512], 0);
            while let Ok(n) = stream.read(&mut buffer).await {
                if n == 0 {
                    break;
                }
                if buffer[..n].windows(5).any(|w| w == b"data:") {
                    heard += 1;
                    let counter = if heard == 1 { &open } else { &woken };
                    counter.fetch_add(1, Ordering::SeqCst);
                }
            }
            if heard > 0 {
                open.fetch_sub(1, Ordering::SeqCst);
            }
        });
    }
    let began = Instant::now();
    while open.load(Ordering::SeqCst) < of.len() {
        if began.elapsed() > Duration::from_secs(120) {
            let open = open.load(Ordering::SeqCst);
            return Err(format!("only {open} of {} event streams opened", of.len()).into());
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    Ok(Streams {
        open,
        woken,
        _all: all,
    })
}

/// Lets families sync for so long, each client with families of its own.
pub(crate) async fn run(
    servers: &Arc<Servers>,
    families: &mut Vec<Family>,
    clients: usize,
    length: Duration,
) -> Result<Seen, Failure> {
    let mut shares: Vec<Vec<Family>> = (0..clients).map(|_| Vec::new()).collect();
    for (n, family) in families.drain(..).enumerate() {
        shares[n % clients].push(family);
    }
    let until = Instant::now() + length;
    let mut all = JoinSet::new();
    for (n, mut share) in shares.into_iter().enumerate() {
        let servers = servers.clone();
        all.spawn(async move {
            // The phones of a family talk to different processes, where there are several.
            let mut over = [
                Client::new(servers.address(n)),
                Client::new(servers.address(n + 1)),
            ];
            let mut seen = Seen::default();
            let mut round = 0;
            while Instant::now() < until {
                for (n, family) in share.iter_mut().enumerate() {
                    if Instant::now() >= until {
                        break;
                    }
                    evening(family, &mut over, &mut seen, n + round).await?;
                }
                round += 1;
            }
            Ok::<_, Failure>((seen, share))
        });
    }
    let mut total = Seen::default();
    while let Some(done) = all.join_next().await {
        let (seen, share) = done??;
        total.ms.extend(seen.ms);
        total.firsts += seen.firsts;
        total.repeated += seen.repeated;
        families.extend(share);
    }
    Ok(total)
}

/// One family's: one logs and syncs, the other hears of it, logs too, and the first looks again.
/// Every second family looks once more and finds nothing; every twentieth has a new phone.
async fn evening(
    family: &mut Family,
    over: &mut [Client; 2],
    seen: &mut Seen,
    n: usize,
) -> Result<(), Failure> {
    for (phone, push) in [(0, 1 + n % 3), (1, 0), (1, 1), (0, 0)] {
        sync(family, phone, push, &mut over[phone], seen).await?;
    }
    if n.is_multiple_of(2) {
        sync(family, 0, 0, &mut over[0], seen).await?;
    }
    if n.is_multiple_of(20) {
        let body = Ask {
            check: Some(Vec::new()),
            ..look(&family.phones[1], 0)
        };
        timed(&family.phones[1], &body.encode(), &mut over[1], seen).await?;
        seen.firsts += 1;
    }
    Ok(())
}

fn look(phone: &Phone, cursor: u64) -> Ask {
    Ask {
        v: VERSION,
        epoch: phone.epoch.map(ByteArray::new),
        cursor,
        now: System.now().ms(),
        actors: Vec::new(),
        vouched: Vec::new(),
        pack: Default::default(),
        check: None,
        fetch: Vec::new(),
    }
}

async fn sync(
    family: &mut Family,
    phone: usize,
    push: usize,
    over: &mut Client,
    seen: &mut Seen,
) -> Result<(), Failure> {
    let phone = &mut family.phones[phone];
    let push = push.min(phone.ahead.len());
    let unsent = phone.ahead.iter().take(push);
    let ask = Ask {
        pack: pack(unsent.map(|c| (&c.doc, c.bytes.as_slice()))),
        ..look(phone, phone.cursor)
    };
    let answer = timed(phone, &ask.encode(), over, seen).await?;
    if !answer.refused.is_empty() {
        return Err(format!("refused: {:?}", answer.refused).into());
    }
    phone.cursor = answer.cursor;
    phone.epoch = Some(*answer.epoch);
    family
        .kept
        .extend(phone.ahead.drain(..push).map(|c| c.hash));
    Ok(())
}

async fn timed(
    phone: &Phone,
    body: &[u8],
    over: &mut Client,
    seen: &mut Seen,
) -> Result<Answer, Failure> {
    let token = phone.token();
    for left in (0..TRIES).rev() {
        let began = Instant::now();
        match over.sync(&token, body).await {
            Ok(answer) => {
                seen.ms.push(began.elapsed().as_secs_f32() * 1000.0);
                return Ok(Answer::decode(&answer)?);
            }
            Err(e) if left == 0 => return Err(e),
            Err(_) => seen.repeated += 1,
        }
    }
    Err("never tried".into())
}

/// Reads the log of every family that synced, and returns how many acknowledged records there are,
/// how many of them are not in the log, and how many stand there more than once.
pub(crate) async fn check(
    servers: &Arc<Servers>,
    families: &[Family],
    clients: usize,
) -> Result<(usize, usize, usize), Failure> {
    let synced: Vec<&Family> = families.iter().filter(|f| !f.kept.is_empty()).collect();
    let mut total = (0, 0, 0);
    let mut over: Vec<Client> = (0..clients)
        .map(|n| Client::new(servers.address(n)))
        .collect();
    for some in synced.chunks(clients) {
        let logs = futures_util::future::try_join_all(
            some.iter()
                .zip(&mut over)
                .map(|(family, over)| log(family, over)),
        )
        .await?;
        for (family, log) in some.iter().zip(logs) {
            let due: BTreeSet<Hash> = family
                .kept
                .iter()
                .copied()
                .chain(family.history.iter().map(|c| c.hash))
                .collect();
            total.0 += due.len();
            total.1 += due.iter().filter(|hash| !log.contains_key(*hash)).count();
            total.2 += log.values().filter(|times| **times > 1).count();
        }
    }
    Ok(total)
}

/// How often each change stands in a family's log.
async fn log(family: &Family, over: &mut Client) -> Result<BTreeMap<Hash, usize>, Failure> {
    let phone = &family.phones[0];
    let mut all = BTreeMap::new();
    let mut cursor = 0;
    loop {
        let body = look(phone, cursor).encode();
        let answer = Answer::decode(&over.sync(&phone.token(), &body).await?)?;
        for (doc, changes) in unpack(&answer.pack)? {
            for bytes in changes {
                *all.entry(read_change(&doc, &bytes)?.0.hash).or_default() += 1;
            }
        }
        cursor = answer.cursor;
        if !answer.more {
            return Ok(all);
        }
    }
}
