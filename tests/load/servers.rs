//! The server processes under load, and what they keep everything in.

use std::fs::File;
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use pointdown_server::store::{Postgres, Sqlite, Store};
use pointdown_tests::postgres::PgServer;

use crate::Failure;

/// Where everything is kept.
pub(crate) struct Backing {
    folder: tempfile::TempDir,
    database: Option<(PgServer, String)>,
}

impl Backing {
    pub(crate) fn make(store: &str) -> Result<Backing, Failure> {
        let folder = tempfile::tempdir()?;
        let database = match store {
            "postgres" => {
                // As installed, every commit on the disk: only the number of connections is ours.
                let server = PgServer::start(None, &[])?;
                let uri = server.uri(&server.database());
                Some((server, uri))
            }
            _ => None,
        };
        Ok(Backing { folder, database })
    }

    pub(crate) fn store(&self) -> Result<Arc<dyn Store>, Failure> {
        Ok(match &self.database {
            Some((_, uri)) => Arc::new(Postgres::open(uri, None)?),
            None => Arc::new(Sqlite::open(&self.data(0))?),
        })
    }

    /// How many processes share it unless said otherwise.
    pub(crate) fn processes(&self) -> usize {
        if self.database.is_some() { 2 } else { 1 }
    }

    fn data(&self, process: usize) -> PathBuf {
        self.folder.path().join(format!("data-{process}"))
    }
}

/// Running server processes; they end with this.
pub(crate) struct Servers {
    all: Vec<(Child, SocketAddr)>,
}

impl Servers {
    pub(crate) fn start(backing: &Backing, many: usize) -> Result<Servers, Failure> {
        let program = std::env::current_exe()?.with_file_name("pointdown-server");
        let mut servers = Servers { all: Vec::new() };
        for n in 0..many {
            // The port is free now; nobody else on loopback asks for one meanwhile.
            let address = TcpListener::bind("127.0.0.1:0")?.local_addr()?;
            let log = File::create(backing.folder.path().join(format!("log-{n}")))?;
            let mut command = Command::new(&program);
            command.args(["serve", "--listen", &address.to_string(), "--data"]);
            command.arg(backing.data(n));
            if let Some((_, uri)) = &backing.database {
                command.args(["--store", uri]);
            }
            let child = command
                .env_remove("RUST_LOG")
                .stderr(Stdio::from(log))
                .spawn()?;
            servers.all.push((child, address));
            let began = Instant::now();
            while TcpStream::connect(address).is_err() {
                if began.elapsed() > Duration::from_secs(30) {
                    return Err(format!("{} does not listen", program.display()).into());
                }
                std::thread::sleep(Duration::from_millis(20));
            }
        }
        Ok(servers)
    }

    /// The server that someone with this number talks to.
    pub(crate) fn address(&self, n: usize) -> SocketAddr {
        self.all[n % self.all.len()].1
    }

    /// The processor time that the processes took so far, in seconds (Linux only).
    pub(crate) fn cpu_seconds(&self) -> f64 {
        let of = |child: &Child| -> Option<u64> {
            let stat = std::fs::read_to_string(format!("/proc/{}/stat", child.id())).ok()?;
            // proc(5): after the name in parentheses, the 12th and 13th words, in hundredths.
            let mut words = stat.rsplit_once(") ")?.1.split(' ').skip(11);
            Some(words.next()?.parse::<u64>().ok()? + words.next()?.parse::<u64>().ok()?)
        };
        self.all
            .iter()
            .filter_map(|(child, _)| of(child))
            .sum::<u64>() as f64
            / 100.0
    }

    /// The most memory that the processes had at any time, together, in MB (Linux only).
    pub(crate) fn peak_mb(&self) -> Result<f64, Failure> {
        let mut kb = 0;
        for (child, _) in &self.all {
            let status = std::fs::read_to_string(format!("/proc/{}/status", child.id()))?;
            kb += status
                .lines()
                .find_map(|line| line.strip_prefix("VmHWM:"))
                .and_then(|rest| rest.split_whitespace().next()?.parse::<u64>().ok())
                .ok_or("no VmHWM in /proc")?;
        }
        Ok((kb as f64 / 1024.0 * 10.0).round() / 10.0)
    }
}

impl Drop for Servers {
    fn drop(&mut self) {
        for (child, _) in &mut self.all {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
