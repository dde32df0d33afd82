//! Plays simulated families: `--seeds N [--seed S] [--json]`, or `--mutants [--mutant NAME]
//! [--json]`, which puts deliberate faults in and shows which seed noticed each.

use std::io::Write;
use std::process::ExitCode;

use pointdown_tests::sim::report::{Caught, Report, catch, simulate};
use pointdown_tests::sim::{Script, base, mutants, play, shrink};

/// Within so many seeds every deliberate fault has to be noticed.
const MOST_SEEDS: u64 = 500;

#[derive(Default)]
struct Words {
    seeds: Option<u64>,
    seed: Option<u64>,
    json: bool,
    mutants: bool,
    mutant: Option<String>,
    trace: bool,
}

fn words() -> Option<Words> {
    let mut words = Words::default();
    let mut all = std::env::args().skip(1);
    while let Some(word) = all.next() {
        match word.as_str() {
            "--seeds" => words.seeds = Some(all.next()?.parse().ok()?),
            "--seed" => words.seed = Some(all.next()?.parse().ok()?),
            "--mutant" => words.mutant = Some(all.next()?),
            "--json" => words.json = true,
            "--mutants" => words.mutants = true,
            "--trace" => words.trace = true,
            _ => return None,
        }
    }
    Some(words)
}

fn main() -> ExitCode {
    let Some(words) = words() else {
        let _ = writeln!(
            std::io::stderr(),
            "simulate: allowed are --seeds N, --seed S, --trace, --mutants, --mutant NAME and --json"
        );
        return ExitCode::from(2);
    };
    // A panic is caught and told with its seed; its own words would only be in the way.
    std::panic::set_hook(Box::new(|_| {}));
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    if let (true, Some(seed)) = (words.trace, words.seed) {
        let script = Script {
            trace: true,
            ..Script::of(seed)
        };
        let played = play(&shrink(&script, &base()).0, &base());
        let mut text = played.said.join("\n");
        text += &format!("\n{:?}\n", played.broken);
        let _ = std::io::stdout().write_all(text.as_bytes());
        return code(played.broken.is_none());
    }
    if words.mutants || words.mutant.is_some() {
        if !mutants::HERE {
            let _ = writeln!(
                std::io::stderr(),
                "simulate: built without the feature `mutants`"
            );
            return ExitCode::from(2);
        }
        let most = words.seeds.unwrap_or(MOST_SEEDS);
        let caught = catch(most, words.mutant.as_deref(), threads);
        let all = !caught.is_empty() && caught.iter().all(|c| c.seed.is_some());
        print(words.json, &caught, mutant_table);
        return code(all);
    }
    let first = words.seed.unwrap_or(1);
    let seeds = words
        .seeds
        .unwrap_or(if words.seed.is_some() { 1 } else { 200 });
    let report = simulate(first, seeds, threads);
    print(words.json, &report, table);
    code(report.failed.is_empty())
}

fn code(good: bool) -> ExitCode {
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn print<T: serde::Serialize + ?Sized>(json: bool, what: &T, table: impl Fn(&T) -> String) {
    let text = if json {
        serde_json::to_string(what).unwrap_or_default() + "\n"
    } else {
        table(what)
    };
    let _ = std::io::stdout().write_all(text.as_bytes());
}

fn table(report: &Report) -> String {
    let mut text = format!("{} seeds, {} steps\n", report.seeds, report.steps);
    for (what, n) in &report.faults {
        text += &format!("  {what:<28} {n:>8}\n");
    }
    text += "lines of the review list at the end, each compared with the naive model:\n";
    for (kind, n) in &report.lines {
        text += &format!("  {kind:<28} {n:>8}\n");
    }
    for failed in &report.failed {
        text += &format!("\nSEED {}: {}\n", failed.seed, failed.broken);
        for line in &failed.script {
            text += &format!("    {line}\n");
        }
    }
    text
}

fn mutant_table(caught: &Vec<Caught>) -> String {
    let mut text = String::new();
    for c in caught {
        let seed = c
            .seed
            .map_or("NOT CAUGHT".into(), |seed| format!("seed {seed}"));
        text += &format!("{:<22} {seed:<12} {}\n", c.mutant, c.about);
        if let Some(broken) = &c.broken {
            text += &format!("    {}\n", broken.chars().take(150).collect::<String>());
        }
    }
    text
}
