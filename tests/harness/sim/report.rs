//! Many families at once, and what came of them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use serde::Serialize;

use super::{Script, mutants, play, shrink};

/// What came of many seeds.
#[derive(Debug, Default, Serialize)]
pub struct Report {
    /// How many seeds were played.
    pub seeds: u64,
    /// How many steps they had together.
    pub steps: u64,
    /// What befell the families, and how often.
    pub faults: BTreeMap<String, u64>,
    /// Lines of review lists that were compared with the naive model's, by kind.
    pub lines: BTreeMap<String, u64>,
    /// Seeds of which something did not hold.
    pub failed: Vec<Failed>,
}

/// A seed of which something did not hold.
#[derive(Debug, Serialize)]
pub struct Failed {
    /// The seed.
    pub seed: u64,
    /// What did not hold.
    pub broken: String,
    /// The shortest script found that shows it, step by step.
    pub script: Vec<String>,
}

/// Where families are played: in memory if the system has such a folder.
pub fn base() -> PathBuf {
    let memory = Path::new("/dev/shm");
    if memory.is_dir() {
        memory.to_path_buf()
    } else {
        std::env::temp_dir()
    }
}

/// Plays so many seeds from the first on, on so many threads; each family on one thread.
pub fn simulate(first: u64, seeds: u64, threads: usize) -> Report {
    let next = AtomicU64::new(first);
    let report = Mutex::new(Report::default());
    std::thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::SeqCst);
                    if seed >= first.saturating_add(seeds) {
                        return;
                    }
                    one(seed, &report);
                }
            });
        }
    });
    let mut report = report
        .into_inner()
        .unwrap_or_else(|poisoned| poisoned.into_inner());
    report.failed.sort_by_key(|f| f.seed);
    report
}

fn one(seed: u64, report: &Mutex<Report>) {
    let script = Script::of(seed);
    let played = play(&script, &base());
    // One failure is made short; of many, each by itself would take too long.
    let few = report.lock().map_or(true, |r| r.failed.len() < 3);
    let failed = played.broken.as_ref().map(|broken| {
        let said = if few {
            shrink(&script, &base()).1.said
        } else {
            played.said.clone()
        };
        Failed {
            seed,
            broken: broken.clone(),
            script: said,
        }
    });
    let mut report = report
        .lock()
        .unwrap_or_else(|poisoned| poisoned.into_inner());
    report.seeds += 1;
    report.steps += played.steps as u64;
    for (what, n) in played.faults {
        *report.faults.entry(what.into()).or_default() += n;
    }
    for (kind, n) in played.lines {
        *report.lines.entry(kind).or_default() += n;
    }
    report.failed.extend(failed);
}

/// What came of one deliberate fault.
#[derive(Debug, Serialize)]
pub struct Caught {
    /// The fault.
    pub mutant: &'static str,
    /// What it does.
    pub about: &'static str,
    /// The first seed that showed it, if one did.
    pub seed: Option<u64>,
    /// What did not hold.
    pub broken: Option<String>,
}

/// Puts every deliberate fault in, one after the other, and plays seeds until one shows it.
pub fn catch(most_seeds: u64, only: Option<&str>, threads: usize) -> Vec<Caught> {
    let all: Vec<_> = mutants::ALL
        .iter()
        .filter(|(name, _)| only.is_none_or(|only| only == *name))
        .collect();
    let next = AtomicU64::new(0);
    let caught = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                while let Some((mutant, about)) =
                    all.get(next.fetch_add(1, Ordering::SeqCst) as usize)
                {
                    mutants::put_in(Some(mutant));
                    let shown = (1..=most_seeds).find_map(|seed| {
                        let played = play(&Script::of(seed), &base());
                        played.broken.map(|broken| (seed, broken))
                    });
                    mutants::put_in(None);
                    let (seed, broken) = shown.unzip();
                    let one = Caught {
                        mutant,
                        about,
                        seed,
                        broken,
                    };
                    caught.lock().unwrap_or_else(|p| p.into_inner()).push(one);
                }
            });
        }
    });
    let mut caught = caught.into_inner().unwrap_or_else(|p| p.into_inner());
    caught.sort_by_key(|c| all.iter().position(|(name, _)| *name == c.mutant));
    caught
}
