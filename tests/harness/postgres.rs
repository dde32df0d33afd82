//! A real PostgreSQL server for tests, in a folder of its own, reached by a Unix socket; it ends
//! with the process that started it, however that ends.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Starts the server, waits until standard input ends (the starter is gone, or wants it), stops it
/// and removes its folder.
const KEEPER: &str = r#"folder=$1; shift
"$@" > "$folder/log" 2>&1 &
server=$!
cat > /dev/null
kill -INT $server
wait $server
rm -rf "$folder""#;

/// A running server.
pub struct PgServer {
    folder: PathBuf,
    bin: PathBuf,
    port: u16,
    databases: AtomicUsize,
    keeper: Child,
}

/// The server that all tests of this process share; nothing, and loudly so, where the machine has
/// none or cannot run it.
pub fn shared() -> Option<&'static PgServer> {
    static SHARED: OnceLock<Option<PgServer>> = OnceLock::new();
    SHARED
        .get_or_init(|| match PgServer::start(None, &["fsync=off"]) {
            Ok(server) => Some(server),
            Err(why) => {
                // Past the capture of the test harness.
                let _ = writeln!(
                    io::stderr(),
                    "\nSKIPPED: no test with PostgreSQL ran: {why}\n"
                );
                None
            }
        })
        .as_ref()
}

/// Where Debian, and others, put the programs.
fn programs() -> Result<PathBuf, String> {
    if let Some(named) = std::env::var_os("POINTDOWN_PG_BIN") {
        return Ok(named.into());
    }
    let mut found: Vec<PathBuf> = ["/usr/lib/postgresql", "/usr/pgsql", "/opt/homebrew/opt"]
        .iter()
        .filter_map(|folder| fs::read_dir(folder).ok())
        .flatten()
        .filter_map(|version| Some(version.ok()?.path().join("bin")))
        .filter(|bin| bin.join("initdb").is_file() && bin.join("postgres").is_file())
        .collect();
    found.sort();
    found.pop().ok_or_else(|| {
        "no PostgreSQL server is installed; set POINTDOWN_PG_BIN to the folder of initdb".into()
    })
}

/// A command of the user that may run PostgreSQL, which refuses to run as root.
fn command(program: &Path, as_root: bool) -> Vec<String> {
    let program = program.display().to_string();
    if !as_root {
        return vec![program];
    }
    let words = [
        "setpriv",
        "--reuid=postgres",
        "--regid=postgres",
        "--clear-groups",
        "--",
    ];
    words
        .map(String::from)
        .into_iter()
        .chain([program])
        .collect()
}

fn done(command: &mut Command) -> Result<String, String> {
    let out = command
        .stdin(Stdio::null())
        .output()
        .map_err(|e| format!("{command:?}: {e}"))?;
    if out.status.success() {
        return Ok(String::from_utf8_lossy(&out.stdout).trim().to_string());
    }
    Err(format!(
        "{command:?}: {}",
        String::from_utf8_lossy(&out.stderr)
    ))
}

impl PgServer {
    /// Makes a database cluster and starts a server on it with these settings. Beside its socket it
    /// listens on a port of this machine where one is given; there it asks for a password.
    pub fn start(port: Option<u16>, settings: &[&str]) -> Result<PgServer, String> {
        let bin = programs()?;
        let as_root = done(Command::new("id").arg("-u"))? == "0";
        let folder = tempfile::Builder::new()
            .prefix("pd-pg-")
            .tempdir()
            .map_err(|e| e.to_string())?
            .keep();
        let data = folder.join("data").display().to_string();
        if as_root {
            done(Command::new("chown").arg("postgres").arg(&folder))?;
        }
        let initdb = command(&bin.join("initdb"), as_root);
        done(
            Command::new(&initdb[0])
                .args(&initdb[1..])
                .args([
                    "-D",
                    &data,
                    "-U",
                    "postgres",
                    "-E",
                    "UTF8",
                    "--locale=C",
                    "--no-sync",
                ])
                .args(["--auth-local=trust", "--auth-host=scram-sha-256"])
                .current_dir(&folder),
        )?;
        let mut keeper = Command::new("sh");
        keeper.args(["-c", KEEPER, "keeper"]).arg(&folder);
        keeper.args(command(&bin.join("postgres"), as_root));
        let listen = if port.is_some() { "127.0.0.1" } else { "" };
        let port = port.unwrap_or(5432);
        keeper.args(["-D", &data, "-c", "max_connections=200"]);
        keeper.args(["-p", &port.to_string(), "-h", listen]);
        keeper.arg("-k").arg(&folder);
        for setting in settings {
            keeper.args(["-c", setting]);
        }
        let keeper = keeper
            .current_dir(&folder)
            .stdin(Stdio::piped())
            .spawn()
            .map_err(|e| format!("sh: {e}"))?;
        let server = PgServer {
            folder,
            bin,
            port,
            databases: AtomicUsize::new(0),
            keeper,
        };
        let began = Instant::now();
        while let Err(why) = server.sql("postgres", "SELECT 1") {
            if began.elapsed() > Duration::from_secs(60) {
                let log = fs::read_to_string(server.folder.join("log")).unwrap_or_default();
                return Err(format!("the server does not start: {why}\n{log}"));
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        Ok(server)
    }

    /// The address of a database.
    pub fn uri(&self, database: &str) -> String {
        let socket = self.folder.display().to_string().replace('/', "%2F");
        format!("postgres://postgres@{socket}:{}/{database}", self.port)
    }

    /// Gives it a certificate, and with it TLS on its port.
    pub fn certify(&self, certificate: &str, key: &str) -> Result<(), String> {
        for (file, text) in [("server.crt", certificate), ("server.key", key)] {
            let path = self.folder.join("data").join(file);
            // Owned as the folder is, and nobody else's business, or the server refuses it.
            let like = format!("--reference={}", self.folder.display());
            fs::write(&path, text).map_err(|e| e.to_string())?;
            done(Command::new("chmod").arg("600").arg(&path))?;
            done(Command::new("chown").arg(like).arg(&path))?;
        }
        self.sql("postgres", "ALTER SYSTEM SET ssl = on")?;
        self.sql("postgres", "SELECT pg_reload_conf()")?;
        Ok(())
    }

    /// Makes an empty database and returns its name.
    pub fn database(&self) -> String {
        let n = self.databases.fetch_add(1, Ordering::Relaxed);
        let name = format!("farms_{n}");
        self.sql("postgres", &format!("CREATE DATABASE {name}"))
            .unwrap_or_else(|e| panic!("{e}"));
        name
    }

    /// What psql answers to a statement.
    pub fn sql(&self, database: &str, statement: &str) -> Result<String, String> {
        done(
            Command::new(self.bin.join("psql"))
                .args([
                    "-X", "-q", "-A", "-t", "-U", "postgres", "-d", database, "-h",
                ])
                .arg(&self.folder)
                .args([
                    "-p",
                    &self.port.to_string(),
                    "-v",
                    "ON_ERROR_STOP=1",
                    "-c",
                    statement,
                ]),
        )
    }
}

impl Drop for PgServer {
    fn drop(&mut self) {
        drop(self.keeper.stdin.take());
        let _ = self.keeper.wait();
    }
}
