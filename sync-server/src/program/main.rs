//! The program around the server: `serve`, and what is done on the server's own machine.

mod people;
mod upkeep;

use std::io::{self, Write as _};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use clap::error::ErrorKind;
use clap::parser::ValueSource;
use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand};
use pointdown_core::farm::Interfaces;
use pointdown_core::record::Id;
use pointdown_server::store::{Postgres, Role, Sqlite, Store};
use pointdown_server::upkeep::KEEP_DAYS;
use pointdown_server::{Config, INVITE_HOURS, Invitation, Tls, serve};

/// The server that the phones of a farm sync with.
#[derive(Parser)]
#[command(version)]
struct Cli {
    #[command(flatten)]
    data: Data,
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    serve: Serve,
}

impl Cli {
    /// Reads the command line. What only serving understands is refused before another command,
    /// where it would do nothing.
    fn read() -> Cli {
        let mut command = Cli::command();
        let matches = command.get_matches_mut();
        if matches.subcommand_name().is_some() {
            let stray = command.get_arguments().find(|arg| {
                let from = matches.value_source(arg.get_id().as_str());
                !arg.is_global_set() && from == Some(ValueSource::CommandLine)
            });
            if let Some(flag) = stray.and_then(clap::Arg::get_long) {
                let why =
                    format!("--{flag} is for serving; put it behind `serve`, or leave it out");
                command.error(ErrorKind::ArgumentConflict, why).exit();
            }
        }
        Cli::from_arg_matches(&matches).unwrap_or_else(|e| e.exit())
    }
}

#[derive(Subcommand)]
enum Command {
    /// Serve phones and the kitchen screen (the default).
    Serve(Serve),
    /// Print an invite: one device may join with it, once.
    Invite {
        /// The farm to join; without it the device may bring its own farm or begin one.
        // Ids of our decades begin with a hyphen.
        #[arg(long, allow_hyphen_values = true)]
        farm: Option<Id>,
        /// How many hours the invite is good for.
        #[arg(long, default_value_t = INVITE_HOURS, value_parser = clap::value_parser!(u32).range(1..=720))]
        hours: u32,
        /// What the device may do: owner, helper or reader. Who begins a farm is its owner.
        #[arg(long, default_value = "helper")]
        role: Role,
        /// The address of this server, such as https://192.0.2.7:4680; prints a whole link then,
        /// with the key of the server's own certificate in it.
        #[arg(long)]
        url: Option<String>,
    },
    /// Copy the data into a new folder, while the server runs, and look the copy over.
    BackUp {
        /// The folder to make. It holds everyone's records and the server's key: keep it private.
        #[arg(long)]
        to: PathBuf,
    },
    /// Put a backup into the place of a data folder that is empty or not there, under a new epoch.
    Restore {
        /// The folder that `back-up` made.
        #[arg(long)]
        from: PathBuf,
    },
    /// Look everything over.
    Doctor {
        /// Mend what follows with certainty from the log.
        #[arg(long)]
        mend: bool,
    },
    /// Fold old changes into their documents, as a running server does by itself every hour.
    Compact {
        /// The bytes of changes that were taken within so many days stay.
        #[arg(long, default_value_t = KEEP_DAYS, value_parser = clap::value_parser!(i64).range(0..=36500))]
        keep_days: i64,
    },
    /// After restoring a copy of the data folder: every phone holds everything against the server
    /// anew, and sends what the copy lacks.
    NewEpoch,
    /// List farms and their devices.
    Devices,
    /// Shut a device out.
    Revoke {
        /// The device, as `devices` lists it.
        #[arg(allow_hyphen_values = true)]
        device: Id,
    },
    /// Give a phone a role, also where a farm has no owner left.
    Role {
        /// The device, as `devices` lists it.
        #[arg(allow_hyphen_values = true)]
        device: Id,
        /// What it may do: owner, helper or reader.
        role: Role,
    },
    /// Print who was invited, joined, was shut out or got a role, newest first.
    Audit {
        /// The farm; all farms without it.
        #[arg(long, allow_hyphen_values = true)]
        farm: Option<Id>,
    },
}

#[derive(Args)]
pub(crate) struct Data {
    /// The data folder. Each server has one of its own, whatever the store.
    #[arg(long, global = true, default_value = "pointdown-data")]
    pub(crate) data: PathBuf,
    /// A PostgreSQL database instead of the data folder: postgres://user@host/database. An address
    /// with a password is better given as POINTDOWN_STORE, where other users cannot list it.
    #[arg(long, global = true, value_name = "URI")]
    store: Option<String>,
    /// The authority, a PEM file, that signed the database's certificate; without it those that
    /// this system trusts.
    #[arg(long, global = true, value_name = "FILE")]
    store_authority: Option<PathBuf>,
}

impl Data {
    /// The store: the database that was named, or the one in the data folder.
    pub(crate) fn open(&self) -> Result<Arc<dyn Store>, Failure> {
        Ok(match self.database() {
            Some(uri) => Arc::new(Postgres::open(&uri, self.store_authority.as_deref())?),
            None => Arc::new(Sqlite::open(&self.data)?),
        })
    }

    /// The address of a database that stands in the place of the data folder.
    pub(crate) fn database(&self) -> Option<String> {
        self.store
            .clone()
            .or_else(|| std::env::var("POINTDOWN_STORE").ok())
    }
}

#[derive(Args)]
struct Serve {
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
    /// The certificate (PEM, with those that lead to its authority). A newer file is taken up
    /// within a minute, or at once at SIGHUP.
    #[arg(long, requires = "tls_key", conflicts_with = "tls")]
    tls_cert: Option<PathBuf>,
    /// The private key of the certificate (PEM).
    #[arg(long, requires = "tls_cert")]
    tls_key: Option<PathBuf>,
    /// `own`: make a certificate and keep it in the data folder. Invites carry the hash of its key,
    /// by which phones know the server.
    #[arg(long, value_parser = ["own"])]
    tls: Option<String>,
    /// A name or address by which browsers reach the server, for its own certificate; may be given
    /// several times.
    #[arg(long, requires = "tls")]
    tls_name: Vec<String>,
    /// Announce the server on the local network, so that phones find it there: that it is one, its
    /// address, and whether it speaks TLS.
    #[arg(long)]
    announce: bool,
    /// A reverse proxy stands before the server: believe its X-Forwarded-For and X-Forwarded-Proto.
    #[arg(long)]
    behind_proxy: bool,
    /// A file with a token; who brings it may read /metrics from other machines.
    #[arg(long)]
    metrics_token_file: Option<PathBuf>,
    /// How to write the log.
    #[arg(long, default_value = "text", value_parser = ["text", "json"])]
    log: String,
}

impl Serve {
    fn certificate(&self, data: &Data) -> Option<Tls> {
        if let (Some(cert), Some(key)) = (&self.tls_cert, &self.tls_key) {
            let (cert, key) = (cert.clone(), key.clone());
            return Some(Tls::Files { cert, key });
        }
        self.tls.as_ref()?;
        let mut names = self.tls_name.clone();
        names.extend(["localhost", "127.0.0.1", "::1"].map(String::from));
        let folder = data.data.join("tls");
        Some(Tls::Own { folder, names })
    }
}

pub(crate) type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> ExitCode {
    let cli = Cli::read();
    let data = &cli.data;
    let done = match cli.command {
        None => run(data, cli.serve),
        Some(Command::Serve(serve)) => run(data, serve),
        Some(Command::Invite {
            farm,
            hours,
            role,
            url,
        }) => {
            let invitation = Invitation {
                farm,
                role,
                by: None,
                hours,
            };
            people::invite(data, &invitation, url)
        }
        Some(Command::BackUp { to }) => upkeep::back_up(data, &to),
        Some(Command::Restore { from }) => upkeep::restore(data, &from),
        Some(Command::Doctor { mend }) => upkeep::doctor(data, mend),
        Some(Command::Compact { keep_days }) => upkeep::compact(data, keep_days),
        Some(Command::NewEpoch) => upkeep::new_epoch(data),
        Some(Command::Devices) => people::devices(data),
        Some(Command::Revoke { device }) => people::revoke(data, device),
        Some(Command::Role { device, role }) => people::change_role(data, device, role),
        Some(Command::Audit { farm }) => people::audit(data, farm),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            let _ = writeln!(io::stderr(), "pointdown-server: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run(data: &Data, serve_with: Serve) -> Result<(), Failure> {
    let filter = tracing_subscriber::EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("info"));
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(io::stderr);
    match serve_with.log.as_str() {
        "json" => log.json().init(),
        _ => log.init(),
    }
    let address = serve_with.listen;
    if serve_with.announce && address.ip().is_loopback() {
        let why = "nobody else on the network can reach it; allowed with --announce is an address \
                   beyond this machine, such as 0.0.0.0:4680";
        return Err(format!("--listen: {address} is announced, but {why}").into());
    }
    let tls = serve_with.certificate(data);
    let metrics_token = match &serve_with.metrics_token_file {
        None => None,
        Some(path) => Some(read_token(path)?),
    };
    let store = data.open()?;
    let automerge_writes = serve_with.automerge_writes;
    let folder = data.data.clone();
    std::fs::create_dir_all(&folder)
        .map_err(|e| format!("the folder {} cannot be made: {e}", folder.display()))?;
    let _only = only_server(&folder)?;
    let config = Config {
        data: Some(folder),
        beyond_loopback: serve_with.plain_http_beyond_this_machine,
        tls,
        announce: serve_with.announce.then_some(Interfaces::All),
        automerge_writes,
        behind_proxy: serve_with.behind_proxy,
        metrics_token,
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

fn read_token(path: &std::path::Path) -> Result<String, Failure> {
    let text = std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
    let token = text.trim();
    if token.len() < 20 {
        let n = token.len();
        return Err(format!("{}: {n} characters; allowed are 20 or more", path.display()).into());
    }
    Ok(token.into())
}

/// One server a data folder: two would not wake each other's event streams.
pub(crate) fn only_server(folder: &std::path::Path) -> Result<std::fs::File, Failure> {
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
