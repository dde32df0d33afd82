//! A server that runs in this process, behind a wire that counts.

use std::fs;
use std::num::NonZeroU32;
use std::path::Path;
use std::sync::Arc;

use pointdown_core::farm::{Env, Farm, Join, Location};
use pointdown_core::record::Id;
use pointdown_server::exchange::exchange;
use pointdown_server::store::{Sqlite, Store};
use pointdown_server::upkeep::{KEEP_DAYS, compact};
use pointdown_server::{Config, Invitation, Limits, make_invite, serve};
use pointdown_tests::history::DAY_MS;
use pointdown_tests::phone::TestEnv;
use serde_json::json;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio::sync::oneshot;

use crate::Outcome;
use crate::proxy::Wire;

/// A running server.
pub struct Server {
    /// The wire that phones reach it by.
    pub wire: Arc<Wire>,
    store: Arc<dyn Store>,
    env: Arc<TestEnv>,
    runtime: Runtime,
    stop: oneshot::Sender<()>,
    served: tokio::task::JoinHandle<Result<(), pointdown_server::ServeError>>,
}

impl Server {
    /// Starts it on a data folder.
    pub fn start(data: &Path, wire: &Arc<Wire>, env: Arc<TestEnv>) -> Outcome<Server> {
        fs::create_dir_all(data)?;
        let store: Arc<dyn Store> = Arc::new(Sqlite::open(data)?);
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()?;
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0"))?;
        let address = listener.local_addr()?;
        let (stop, stopped) = oneshot::channel::<()>();
        // Years pass in minutes here.
        let often = NonZeroU32::MAX;
        let config = Config {
            env: env.clone(),
            limits: Limits {
                device_rate: often,
                address_rate: often,
                refused_joins: often,
                ..Limits::default()
            },
            ..Config::default()
        };
        let served = runtime.spawn(serve(config, listener, store.clone(), async move {
            let _ = stopped.await;
        }));
        wire.lead_to(address);
        Ok(Server {
            wire: wire.clone(),
            store,
            env,
            runtime,
            stop,
            served,
        })
    }

    /// An invite to a farm, or to begin one.
    pub fn invite(&self, farm: Option<Id>) -> Outcome<String> {
        let invitation = Invitation {
            farm,
            ..Invitation::default()
        };
        Ok(make_invite(&*self.store, &*self.env, &invitation)?.code)
    }

    /// A new phone of this farm, with everything that the server has.
    pub fn new_phone(&self, farm: Id, at: &Location, name: &str) -> Outcome<Farm> {
        let invite = self.invite(Some(farm))?;
        let join = Join {
            url: &self.wire.url,
            invite: &invite,
            device: name,
        };
        Ok(Farm::join_new(at, self.env.clone(), &join, name)?)
    }

    /// What a server does by itself once a day: folds what is older than it keeps apart.
    pub fn fold(&self, farm: Id) -> Outcome<()> {
        let before = self.env.now().ms() - KEEP_DAYS * DAY_MS;
        compact(&*self.store, farm, before)?;
        Ok(())
    }

    /// A new phone whose messages are carried by hand, known to the server and without anything yet.
    pub fn by_hand(&self, farm: Id, at: &Location) -> Outcome<ByHand> {
        let phone = Farm::make(at, self.env.clone(), farm)?;
        let ask = json!({ "invite": self.invite(Some(farm))?, "name": "By hand" });
        let mut answer = ureq::post(format!("{}/v1/join", self.wire.url)).send_json(&ask)?;
        let answer: serde_json::Value = answer.body_mut().read_json()?;
        let token = answer["token"].as_str().ok_or("no token")?;
        phone.joined(&self.wire.url, token)?;
        let devices = self.store.devices(farm)?;
        let device = devices.last().ok_or("no device")?.id;
        Ok(ByHand {
            farm: phone,
            server: self.store.clone(),
            device,
            env: self.env.clone(),
        })
    }

    /// Ends it.
    pub fn stop(self) -> Outcome<()> {
        let _ = self.stop.send(());
        self.runtime.block_on(self.served)??;
        Ok(())
    }
}

/// A phone whose messages are carried by hand, one round at a time.
pub struct ByHand {
    /// Its facade.
    pub farm: Farm,
    server: Arc<dyn Store>,
    device: Id,
    env: Arc<TestEnv>,
}

impl ByHand {
    /// One message and its answer: bytes each way, and whether there is more.
    pub fn round(&mut self) -> Outcome<(usize, usize, bool)> {
        let ask = self.farm.sync_ask()?;
        let now = self.env.now().ms();
        let done = exchange(&*self.server, self.farm.id(), self.device, &ask, now)?;
        let heard = self.farm.sync_hear(&done.answer)?;
        Ok((ask.len(), done.answer.len(), heard.again))
    }
}
