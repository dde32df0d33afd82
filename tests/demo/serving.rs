//! The server of the demo, and what its kitchen screen says.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use chrono::NaiveDate;
use pointdown_core::farm::Env;
use pointdown_core::record::Id;
use pointdown_server::store::{Role, Sqlite, Store};
use pointdown_server::{Config, Invitation, make_invite, serve};
use serde::{Deserialize, Serialize};
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::Result;

/// Where the server listens.
const ADDRESS: &str = "127.0.0.1:4680";

/// What the server holds, as its kitchen screen is told.
#[derive(Serialize)]
pub(crate) struct Held {
    /// Records of all days.
    pub(crate) records: u64,
    /// Eggs gathered on the day.
    pub(crate) gathered: i64,
    /// The fingerprint of the day sheet.
    pub(crate) sheet_hash: String,
    /// The farm.
    #[serde(skip)]
    pub(crate) farm: Id,
}

/// A server that runs in this process.
pub(crate) struct Serving {
    /// Its address for phones.
    pub(crate) url: String,
    store: Arc<dyn Store>,
    env: Arc<dyn Env>,
    runtime: tokio::runtime::Runtime,
    stop: oneshot::Sender<()>,
    done: JoinHandle<std::result::Result<(), String>>,
}

impl Serving {
    /// Starts the server. Where its usual port is taken and it need not be found by hand, it takes
    /// any free one.
    pub(crate) fn start(data: &Path, env: Arc<dyn Env>, any_port: bool) -> Result<Serving> {
        std::fs::create_dir_all(data)?;
        let store: Arc<dyn Store> = Arc::new(Sqlite::open(data)?);
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .build()?;
        let listener = runtime.block_on(async {
            match TcpListener::bind(ADDRESS).await {
                Err(_) if any_port => TcpListener::bind("127.0.0.1:0").await,
                bound => bound,
            }
        });
        let listener = listener.map_err(|e| {
            format!("{ADDRESS} cannot be listened on ({e}); is another demo running?")
        })?;
        let address: SocketAddr = listener.local_addr()?;
        let (stop, stopped) = oneshot::channel::<()>();
        let config = Config {
            data: Some(data.to_path_buf()),
            env: env.clone(),
            ..Config::default()
        };
        let served = runtime.spawn(serve(config, listener, store.clone(), async move {
            let _ = stopped.await;
        }));
        let handle = runtime.handle().clone();
        let done = std::thread::spawn(move || match handle.block_on(served) {
            Ok(Ok(())) => Ok(()),
            Ok(Err(e)) => Err(e.to_string()),
            Err(e) => Err(e.to_string()),
        });
        Ok(Serving {
            url: format!("http://{address}"),
            store,
            env,
            runtime,
            stop,
            done,
        })
    }

    /// An invite to a farm, or an open one to bring a farm.
    pub(crate) fn invite(&self, farm: Option<Id>) -> Result<String> {
        self.invite_as(farm, Role::Helper)
    }

    /// An invite with which a device may do this much.
    pub(crate) fn invite_as(&self, farm: Option<Id>, role: Role) -> Result<String> {
        let invitation = Invitation {
            farm,
            role,
            ..Invitation::default()
        };
        Ok(make_invite(&*self.store, &*self.env, &invitation)?.code)
    }

    /// What the kitchen screen shows of a day, asked as a screen asks.
    pub(crate) fn held(&self, farm: Id, day: NaiveDate) -> Result<Held> {
        #[derive(Deserialize)]
        struct Shown {
            records: u64,
            sheet_hash: String,
            sheet: serde_json::Value,
        }
        let agent: ureq::Agent = ureq::Agent::config_builder()
            .timeout_global(Some(Duration::from_secs(30)))
            .build()
            .into();
        let joined = agent
            .post(format!("{}/kitchen/join", self.url))
            .header("pointdown-screen", "1")
            .send_json(serde_json::json!({ "invite": self.invite(Some(farm))? }))?;
        let cookie = joined
            .headers()
            .get("set-cookie")
            .and_then(|c| c.to_str().ok())
            .and_then(|c| c.split(';').next())
            .ok_or("the kitchen screen got no cookie")?
            .to_string();
        let mut answer = agent
            .get(format!("{}/kitchen/sheet?day={day}", self.url))
            .header("cookie", cookie)
            .call()?;
        let shown: Shown = answer.body_mut().read_json()?;
        Ok(Held {
            records: shown.records,
            gathered: shown.sheet["gathered"]["eggs"]
                .as_i64()
                .ok_or("the sheet names no eggs gathered")?,
            sheet_hash: shown.sheet_hash,
            farm,
        })
    }

    /// Waits until someone at the keyboard ends it.
    pub(crate) fn wait_for_ctrl_c(&self) -> Result<()> {
        Ok(self.runtime.block_on(tokio::signal::ctrl_c())?)
    }

    /// Stops the server and waits for its end.
    pub(crate) fn stop(self) -> Result<()> {
        let _ = self.stop.send(());
        match self.done.join() {
            Ok(Ok(())) => Ok(()),
            Ok(Err(e)) => Err(e.into()),
            Err(_) => Err("the server's thread panicked".into()),
        }
    }
}
