//! The same work through Pointdown and through what a developer would pick instead, on this machine.
//!
//! `cargo xtask bench [--json] [--years 0,1,5,20] [--quick]`. Figures come on standard error as they
//! are measured, and together on standard output in the end.

mod family;
mod figures;
mod ours;
mod peers;
mod proxy;
mod report;

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
    /// Years of history to try, separated by commas; the peers are tried with up to five.
    #[arg(long, value_delimiter = ',', default_value = "0,1,5,20")]
    years: Vec<u32>,
    /// A third of the runs: for a first look, not for figures to keep.
    #[arg(long)]
    quick: bool,
    /// Leave the peers out.
    #[arg(long)]
    alone: bool,
}

/// More years than this the peers are not asked to carry.
const PEERS_YEARS: u32 = 5;

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
    // Histories are made where nothing waits for a disk, and measured on one.
    let shm = PathBuf::from("/dev/shm");
    let fast = tempfile::Builder::new()
        .prefix("pointdown-bench-")
        .tempdir_in(if shm.is_dir() {
            shm
        } else {
            std::env::temp_dir()
        })?;
    let disk = tempfile::Builder::new()
        .prefix("pointdown-bench-")
        .tempdir_in(std::env::current_dir()?)?;
    let runs = if args.quick { 3 } else { 9 };
    let wire = Wire::lay()?;
    let mut figures = Figures::default();
    for &years in &args.years {
        eprintln!("{years} years of history:");
        let (spent, family) =
            figures::timed(|| Family::live(years, &wire, fast.path(), disk.path()));
        let family = family?;
        eprintln!(
            "  {} records, lived through in {:.1} s",
            family.records,
            spent / 1000.0
        );
        ours::everything(&family, runs, &mut figures)?;
        if years <= PEERS_YEARS && !args.alone {
            peers::everything(&family, disk.path(), runs, &mut figures)?;
        }
    }
    report::show(&figures, args.json)
}
