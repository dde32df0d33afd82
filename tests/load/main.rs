//! Loads a real server as families do in the evening, and tells what it bears: `cargo xtask load`.
//!
//! Seeded through the store, then over loopback only: event streams held open, records pushed and
//! pulled, first syncs, looks that find nothing. Each client waits for its answer before it asks
//! again, so what is measured is the most that goes through. At the end the whole log of each
//! family that synced is read over HTTP and held against what was acknowledged.

mod client;
mod evening;
mod families;
mod servers;

use std::io::{self, Write};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use serde::Serialize;

use evening::Seen;
use servers::{Backing, Servers};

type Failure = Box<dyn std::error::Error + Send + Sync>;

struct Words {
    families: usize,
    seconds: u64,
    streams: usize,
    clients: usize,
    processes: Option<usize>,
    store: String,
    json: bool,
}

fn words() -> Option<Words> {
    let mut words = Words {
        families: 10_000,
        seconds: 20,
        streams: 2_000,
        clients: 32,
        processes: None,
        store: "sqlite".into(),
        json: false,
    };
    let mut all = std::env::args().skip(1);
    while let Some(word) = all.next() {
        match word.as_str() {
            "--families" => words.families = all.next()?.parse().ok()?,
            "--seconds" => words.seconds = all.next()?.parse().ok()?,
            "--streams" => words.streams = all.next()?.parse().ok()?,
            "--clients" => words.clients = all.next()?.parse().ok()?,
            "--processes" => words.processes = Some(all.next()?.parse().ok()?),
            "--store" => words.store = all.next()?,
            "--json" => words.json = true,
            _ => return None,
        }
    }
    let sound = words.clients > 0
        && words.families >= words.clients
        && words.families >= words.streams
        && ["sqlite", "postgres"].contains(&words.store.as_str());
    sound.then_some(words)
}

/// What came of it.
#[derive(Serialize)]
struct Report {
    syncs_per_s: f64,
    p50_ms: f64,
    p99_ms: f64,
    rss_mb: f64,
    streams: usize,
    lost: usize,
    doubled: usize,
}

fn main() -> ExitCode {
    let Some(words) = words() else {
        let _ = writeln!(
            io::stderr(),
            "load: allowed are --families N, --seconds S, --streams N (at most as many as \
             families), --clients N (likewise), --processes N, --store sqlite|postgres and --json"
        );
        return ExitCode::from(2);
    };
    match run(&words) {
        Ok(report) => {
            let text = if words.json {
                serde_json::to_string(&report).unwrap_or_default() + "\n"
            } else {
                shown(&report)
            };
            let _ = io::stdout().write_all(text.as_bytes());
            let kept = report.lost == 0 && report.doubled == 0;
            if kept {
                ExitCode::SUCCESS
            } else {
                ExitCode::FAILURE
            }
        }
        Err(e) => {
            let _ = writeln!(io::stderr(), "load: {e}");
            ExitCode::FAILURE
        }
    }
}

fn say(text: &str) {
    let _ = writeln!(io::stderr(), "{text}");
}

fn run(words: &Words) -> Result<Report, Failure> {
    let began = Instant::now();
    let backing = Backing::make(&words.store)?;
    let mut families = families::make(words.families);
    let store = backing.store()?;
    families::seed(&*store, &families)?;
    drop(store);
    say(&format!(
        "{} families, {} records each, seeded in {:.0} s",
        words.families,
        families::HISTORY,
        began.elapsed().as_secs_f64()
    ));
    let processes = words.processes.unwrap_or(backing.processes());
    let servers = Arc::new(Servers::start(&backing, processes)?);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let streams = evening::streams(&servers, &families[..words.streams]).await?;
        say(&format!(
            "{} event streams open; load {}",
            streams.open(),
            load_average()
        ));
        let length = Duration::from_secs(words.seconds);
        let (began, cpu) = (Instant::now(), servers.cpu_seconds());
        let seen = evening::run(&servers, &mut families, words.clients, length).await?;
        let took = began.elapsed().as_secs_f64();
        let cpu = (servers.cpu_seconds() - cpu) * 1000.0 / seen.ms.len().max(1) as f64;
        let (rss_mb, open) = (servers.peak_mb()?, streams.open());
        say(&format!(
            "{} syncs in {took:.1} s, {} of them first ones; {} wake-ups heard; {} requests were \
             repeated; {cpu:.2} ms of processor time of the servers a sync; load {}",
            seen.ms.len(),
            seen.firsts,
            streams.woken(),
            seen.repeated,
            load_average()
        ));
        let (checked, lost, doubled) = evening::check(&servers, &families, words.clients).await?;
        say(&format!(
            "{checked} records of families that synced held against the log"
        ));
        let Seen { mut ms, .. } = seen;
        ms.sort_by(f32::total_cmp);
        let at = |part: f64| {
            let n = ((ms.len() as f64 * part) as usize).min(ms.len().saturating_sub(1));
            ms.get(n)
                .map_or(0.0, |ms| (f64::from(*ms) * 10.0).round() / 10.0)
        };
        Ok(Report {
            syncs_per_s: (ms.len() as f64 / took * 10.0).round() / 10.0,
            p50_ms: at(0.5),
            p99_ms: at(0.99),
            rss_mb,
            streams: open,
            lost,
            doubled,
        })
    })
}

fn shown(r: &Report) -> String {
    format!(
        "syncs a second   {:.0}\nmiddle latency   {:.1} ms\n99 in 100 within {:.1} ms\n\
         server memory    {:.0} MB at most\nevent streams    {} still open\n\
         records lost     {}\nrecords doubled  {}\n",
        r.syncs_per_s, r.p50_ms, r.p99_ms, r.rss_mb, r.streams, r.lost, r.doubled
    )
}

/// How busy the machine was in the last minute: others may be working on it.
fn load_average() -> String {
    std::fs::read_to_string("/proc/loadavg")
        .ok()
        .and_then(|text| text.split(' ').next().map(String::from))
        .unwrap_or_else(|| "unknown".into())
}
