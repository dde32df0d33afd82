//! One connection a process that hears what other processes tell, and tells them.

use std::collections::BTreeSet;
use std::future::poll_fn;
use std::thread::{self, JoinHandle};
use std::time::Duration;

use data_encoding::BASE64URL_NOPAD;
use pointdown_core::record::Id;
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use tokio_postgres::{AsyncMessage, Client};

use super::address::Address;
use crate::store::{OnNews, StoreError};

/// The statement that tells.
pub(super) const NOTIFY: &str = "SELECT pg_notify('pointdown', $1)";

/// The most farms in one notification: its text may have 8,000 bytes, an id takes 23.
const MOST: usize = 300;

/// How long to wait before connecting again, at first and at most.
const SOON: Duration = Duration::from_millis(500);
const LATER: Duration = Duration::from_secs(20);

/// The listening thread; it ends when this is dropped.
pub(super) struct News {
    pokes: Option<UnboundedSender<Id>>,
    thread: Option<JoinHandle<()>>,
}

impl News {
    pub(super) fn listen(address: Address, news: OnNews) -> Result<News, StoreError> {
        let failed = |e: std::io::Error| StoreError::Backend(format!("no thread to listen: {e}"));
        let mut me = [0; 8];
        getrandom::fill(&mut me).map_err(|e| StoreError::Backend(e.to_string()))?;
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(failed)?;
        let (pokes, poked) = unbounded_channel();
        let thread = thread::Builder::new()
            .name("news".into())
            .spawn(move || runtime.block_on(run(address, me, poked, news)))
            .map_err(failed)?;
        Ok(News {
            pokes: Some(pokes),
            thread: Some(thread),
        })
    }

    pub(super) fn tell(&self, farm: Id) {
        if let Some(pokes) = &self.pokes {
            let _ = pokes.send(farm);
        }
    }
}

impl Drop for News {
    fn drop(&mut self) {
        self.pokes = None;
        // The last holder of the store may be the thread itself, in the middle of passing news on.
        if let Some(thread) = self.thread.take()
            && thread.thread().id() != thread::current().id()
        {
            let _ = thread.join();
        }
    }
}

/// Who tells, and of which farms, as the text of a notification.
pub(super) fn payload(me: &[u8; 8], farms: &[Id]) -> String {
    let mut text = BASE64URL_NOPAD.encode(me);
    for farm in farms {
        text.push(' ');
        text.push_str(&BASE64URL_NOPAD.encode(farm.bytes()));
    }
    text
}

/// The farms of a notification of somebody else; nothing for what this process told itself.
fn farms_in(me: &[u8; 8], payload: &str) -> Vec<Id> {
    let mut words = payload.split(' ');
    if words.next() == Some(&BASE64URL_NOPAD.encode(me)) {
        return Vec::new();
    }
    words
        .filter_map(|word| {
            BASE64URL_NOPAD
                .decode(word.as_bytes())
                .ok()?
                .try_into()
                .ok()
        })
        .map(Id::from_bytes)
        .collect()
}

/// Listens until nobody can tell anything any more, connecting again whenever the connection ends.
async fn run(address: Address, me: [u8; 8], mut poked: UnboundedReceiver<Id>, news: OnNews) {
    let mut wait = SOON;
    // What the others are yet to be told; a wake-up meant for a time without a connection waits here.
    let mut untold = BTreeSet::new();
    loop {
        let heard = listen(&address, &me, &mut poked, &mut untold, &news, &mut wait);
        match heard.await {
            Ok(()) => return,
            Err(e) => {
                let e = StoreError::from(e);
                tracing::warn!(error = %e, "not listening for news; event streams look by themselves");
            }
        }
        let again = tokio::time::sleep(wait);
        tokio::pin!(again);
        loop {
            tokio::select! {
                () = &mut again => break,
                farm = poked.recv() => match farm {
                    Some(farm) => {
                        untold.insert(farm);
                    }
                    None => return,
                },
            }
        }
        wait = (wait * 2).min(LATER);
    }
}

/// One connection's time; `Ok` at the end of everything.
async fn listen(
    address: &Address,
    me: &[u8; 8],
    poked: &mut UnboundedReceiver<Id>,
    untold: &mut BTreeSet<Id>,
    news: &OnNews,
    wait: &mut Duration,
) -> Result<(), tokio_postgres::Error> {
    let (client, mut connection) = address.config.connect(address.tls.clone()).await?;
    let (heard, mut hears) = unbounded_channel();
    let driven = tokio::spawn(async move {
        while let Some(message) = poll_fn(|cx| connection.poll_message(cx)).await {
            if let AsyncMessage::Notification(n) = message? {
                let _ = heard.send(n.payload().to_string());
            }
        }
        Ok::<_, tokio_postgres::Error>(())
    });
    let done = async {
        client.batch_execute("LISTEN pointdown").await?;
        *wait = SOON;
        // While nobody listened anything may have happened.
        news(None);
        tell(&client, me, untold).await?;
        loop {
            tokio::select! {
                farm = poked.recv() => {
                    let Some(farm) = farm else { return Ok(()) };
                    untold.insert(farm);
                    while untold.len() < MOST && let Ok(farm) = poked.try_recv() {
                        untold.insert(farm);
                    }
                    tell(&client, me, untold).await?;
                }
                payload = hears.recv() => {
                    let Some(payload) = payload else { break };
                    for farm in farms_in(me, &payload) {
                        news(Some(farm));
                    }
                }
            }
        }
        // The connection ended: asking it for anything says why.
        client.batch_execute("").await
    }
    .await;
    driven.abort();
    done
}

/// Tells the others of these farms; what could not be told stays in the set.
async fn tell(
    client: &Client,
    me: &[u8; 8],
    untold: &mut BTreeSet<Id>,
) -> Result<(), tokio_postgres::Error> {
    while !untold.is_empty() {
        let farms: Vec<Id> = untold.iter().take(MOST).copied().collect();
        client.execute(NOTIFY, &[&payload(me, &farms)]).await?;
        for farm in &farms {
            untold.remove(farm);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_notification_carries_farms_past_its_own_teller() {
        let farms = [Id::at(5, [1; 10]), Id::at(6, [2; 10])];
        let text = payload(&[7; 8], &farms);
        assert_eq!(farms_in(&[8; 8], &text), farms);
        assert_eq!(farms_in(&[7; 8], &text), []);
        assert_eq!(farms_in(&[8; 8], "what others say on this channel"), []);
        let most = vec![farms[0]; MOST];
        assert!(payload(&[7; 8], &most).len() < 8000, "PostgreSQL's limit");
    }
}
