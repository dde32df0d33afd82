//! The program around the server: `serve`, and what is done on the server's own machine.

use std::io::{self, Write as _};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use clap::{Args, Parser, Subcommand};
use pointdown_core::farm::{Env as _, System};
use pointdown_core::record::{Id, Instant};
use pointdown_server::store::{Postgres, Sqlite, Store};
use pointdown_server::{Config, INVITE_HOURS, make_invite, serve};

/// The server that the phones of a farm sync with.
#[derive(Parser)]
#[command(version, args_conflicts_with_subcommands = true)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    serve: Serve,
}

#[derive(Subcommand)]
enum Command {
    /// Serve phones and the kitchen screen (the default).
    Serve(Serve),
    /// Print an invite: one device may join with it, once.
    Invite {
        #[command(flatten)]
        data: Data,
        /// The farm to join; without it the device may bring its own farm or begin one.
        // Ids of our decades begin with a hyphen.
        #[arg(long, allow_hyphen_values = true)]
        farm: Option<Id>,
        /// How many hours the invite is good for.
        #[arg(long, default_value_t = INVITE_HOURS, value_parser = clap::value_parser!(u32).range(1..=8760))]
        hours: u32,
    },
    /// After restoring a copy of the data folder: every phone holds everything against the server
    /// anew, and sends what the copy lacks.
    NewEpoch(Data),
    /// List farms and their devices.
    Devices(Data),
    /// Shut a device out.
    Revoke {
        #[command(flatten)]
        data: Data,
        /// The device, as `devices` lists it.
        #[arg(allow_hyphen_values = true)]
        device: Id,
    },
}

#[derive(Args)]
struct Data {
    /// The data folder. Each server has one of its own, whatever the store.
    #[arg(long, default_value = "pointdown-data")]
    data: PathBuf,
    /// A PostgreSQL database instead of the data folder: postgres://user@host/database. An address
    /// with a password is better given as POINTDOWN_STORE, where other users cannot list it.
    #[arg(long, value_name = "URI")]
    store: Option<String>,
    /// The authority, a PEM file, that signed the database's certificate; without it those that
    /// this system trusts.
    #[arg(long, value_name = "FILE")]
    store_authority: Option<PathBuf>,
}

impl Data {
    fn open(&self) -> Result<Arc<dyn Store>, Failure> {
        let named = std::env::var("POINTDOWN_STORE").ok();
        Ok(match self.store.as_ref().or(named.as_ref()) {
            Some(uri) => Arc::new(Postgres::open(uri, self.store_authority.as_deref())?),
            None => Arc::new(Sqlite::open(&self.data)?),
        })
    }
}

#[derive(Args)]
struct Serve {
    #[command(flatten)]
    data: Data,
    /// The address to listen on.
    #[arg(long, default_value = "127.0.0.1:4680")]
    listen: SocketAddr,
    /// Serve plain HTTP to other machines too, where everyone on the way can read and change it.
    #[arg(long)]
    plain_http_beyond_this_machine: bool,
    /// Take what programs write at /v1/automerge, under the same rules as for phones; without this
    /// they only read.
    #[arg(long)]
    automerge_writes: bool,
}

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let done = match cli.command {
        None => run(cli.serve),
        Some(Command::Serve(serve)) => run(serve),
        Some(Command::Invite { data, farm, hours }) => invite(&data, farm, hours),
        Some(Command::NewEpoch(data)) => new_epoch(&data),
        Some(Command::Devices(data)) => devices(&data),
        Some(Command::Revoke { data, device }) => revoke(&data, device),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            let _ = writeln!(io::stderr(), "pointdown-server: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run(serve_with: Serve) -> Result<(), Failure> {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(io::stderr)
        .init();
    let store = serve_with.data.open()?;
    let folder = serve_with.data.data;
    std::fs::create_dir_all(&folder)
        .map_err(|e| format!("the folder {} cannot be made: {e}", folder.display()))?;
    let _only = only_server(&folder)?;
    let config = Config {
        data: Some(folder),
        beyond_loopback: serve_with.plain_http_beyond_this_machine,
        automerge_writes: serve_with.automerge_writes,
        ..Config::default()
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind(serve_with.listen)
            .await
            .map_err(|e| format!("cannot listen on {}: {e}", serve_with.listen))?;
        Ok(serve(config, listener, store, told_to_stop()).await?)
    })
}

/// One server a data folder: two would not wake each other's event streams.
fn only_server(folder: &std::path::Path) -> Result<std::fs::File, Failure> {
    let file = std::fs::File::create(folder.join("serving.lock"))?;
    file.try_lock()
        .map_err(|_| format!("another server uses the folder {}", folder.display()))?;
    Ok(file)
}

/// Done at Ctrl-C, or where the system asks the process to end.
async fn told_to_stop() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        use tokio::signal::unix::{SignalKind, signal};
        match signal(SignalKind::terminate()) {
            Ok(mut signal) => signal.recv().await,
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<Option<()>>();
    tokio::select! {
        () = interrupt => {}
        _ = terminate => {}
    }
}

fn invite(data: &Data, farm: Option<Id>, hours: u32) -> Result<(), Failure> {
    let store = data.open()?;
    let invite = make_invite(&*store, &System, farm, hours)?;
    let mut out = io::stdout().lock();
    writeln!(out, "{}", invite.code)?;
    let until = Instant::from_ms(invite.expires).utc().to_rfc3339();
    writeln!(io::stderr(), "good for one device, until {until}")?;
    Ok(())
}

fn new_epoch(data: &Data) -> Result<(), Failure> {
    let store = data.open()?;
    store.new_epoch()?;
    writeln!(
        io::stdout(),
        "done: each phone will compare everything at its next sync and send what is missing here"
    )?;
    Ok(())
}

fn devices(data: &Data) -> Result<(), Failure> {
    let store = data.open()?;
    let mut out = io::stdout().lock();
    let when = |ms: Option<i64>| ms.map(|ms| Instant::from_ms(ms).utc().to_rfc3339());
    for farm in store.farms()? {
        writeln!(out, "farm {farm}")?;
        for device in store.devices(farm)? {
            let state = match (when(device.revoked_at), when(device.heard_at)) {
                (Some(at), _) => format!("shut out {at}"),
                (None, Some(at)) => format!("last synced {at}"),
                (None, None) => "never synced".into(),
            };
            writeln!(
                out,
                "  {}  {:6}  {:?}  {state}",
                device.id, device.kind, device.name
            )?;
        }
    }
    Ok(())
}

fn revoke(data: &Data, device: Id) -> Result<(), Failure> {
    let store = data.open()?;
    let now = System.now().ms();
    for farm in store.farms()? {
        if store.revoke(farm, device, now)? {
            store.tell(farm);
            writeln!(io::stdout(), "shut out")?;
            return Ok(());
        }
    }
    Err("no such device, or it was shut out before".into())
}
