//! The same work through Pointdown and through what a developer would pick instead, on this machine.
//!
//! `cargo xtask bench` builds and starts it; `--help` tells the options.
//! are measured, and together on standard output in the end.

mod browser;
mod family;
mod figures;
mod growth;
mod ours;
mod ours_sync;
mod page;
mod peers;
mod proxy;
mod report;
mod server;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

use crate::family::Family;
use crate::figures::Figures;
use crate::proxy::Wire;

/// What any step may fail with.
pub type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// What is measured.
#[derive(Debug, Parser)]
#[command(name = "bench")]
struct Args {
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
    /// Years of history to try, separated by commas.
    #[arg(long, value_delimiter = ',', default_value = "0,1,5,20")]
    years: Vec<u32>,
    /// The most years that the peers are tried with; they need minutes for more.
    #[arg(long, default_value_t = 5)]
    peers_years: u32,
    /// The same for the peers in JavaScript, and for the browser.
    #[arg(long, default_value_t = 1)]
    scripts_years: u32,
    /// Fewer runs: for a first look, not for figures to keep.
    #[arg(long)]
    quick: bool,
    /// Leave the peers out.
    #[arg(long)]
    alone: bool,
    /// Take histories from this folder, and leave there what is made. Histories of another version
    /// may not be what this one would make.
    #[arg(long)]
    histories: Option<PathBuf>,
    /// Where the folder with the scripts for the JavaScript peers is, with its packages installed.
    #[arg(long)]
    scripts: Option<PathBuf>,
    /// The script that measures the phone app in a browser; the app and a server must be built.
    #[arg(long)]
    browser: Option<PathBuf>,
    /// Write results.json, results.md and growth.svg into this folder.
    #[arg(long)]
    keep: Option<PathBuf>,
}

fn main() -> ExitCode {
    if let Ok(file) = std::env::var("POINTDOWN_BENCH_MEMORY") {
        return match ours::memory(&file) {
            Ok(()) => ExitCode::SUCCESS,
            Err(e) => {
                eprintln!("bench: {e}");
                ExitCode::FAILURE
            }
        };
    }
    let args = Args::parse();
    match run(&args) {
        Ok(met) if met => ExitCode::SUCCESS,
        Ok(_) => ExitCode::from(3),
        Err(e) => {
            eprintln!("bench: {e}");
            ExitCode::FAILURE
        }
    }
}

/// Whether every target was met.
fn run(args: &Args) -> Outcome<bool> {
    let begun = report::load();
    // Measured where the program is started, which is on a disk; never in memory.
    let work = tempfile::Builder::new()
        .prefix("bench-work-")
        .tempdir_in(target())?;
    let histories = match &args.histories {
        Some(folder) => folder.clone(),
        None => work.path().join("histories"),
    };
    std::fs::create_dir_all(&histories)?;
    let runs = if args.quick { 3 } else { 9 };
    let wire = Wire::lay()?;
    let mut figures = Figures::default();
    let (spent, families) =
        figures::timed(|| Family::histories(&args.years, &wire, &histories, work.path()));
    let families = families?;
    eprintln!("histories in {:.0} s", spent / 1000.0);
    for family in &families {
        eprintln!("{} years, {} records:", family.years, family.records);
        ours::everything(family, runs, &mut figures)?;
        ours_sync::everything(family, runs, &mut figures)?;
        if family.years <= args.peers_years && !args.alone {
            let here = family.years <= args.scripts_years;
            let scripts = args.scripts.as_deref().filter(|_| here);
            peers::everything(family, scripts, work.path(), runs, &mut figures)?;
        }
        if let Some(program) = &args.browser
            && family.years <= args.scripts_years
        {
            browser::everything(family, program, work.path(), runs, &mut figures)?;
        }
    }
    if let Some(family) = families.iter().find(|family| family.years == 1) {
        growth::devices(family, runs, &mut figures)?;
    }
    report::show(&figures, &begun, args.keep.as_deref(), args.json)
}

/// The folder that cargo builds into: this program stands in `release` there.
fn target() -> PathBuf {
    let me = std::env::current_exe().ok();
    me.and_then(|me| Some(me.parent()?.parent()?.to_path_buf()))
        .unwrap_or_else(std::env::temp_dir)
}
