//! What the fuzzer found worth keeping, and honest bodies cut short and flipped, through every way in.
//! `tests/fuzz` says how to find more.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use pointdown_tests::fuzz::{Body, Outcome, TARGETS, seeds};

use crate::tamper::{broken, calm};

/// The most that one input may take, in a build without optimisation on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// The most variations of the honest bodies of one way in.
const VARIATIONS: usize = 400;

/// Lets the bytes in and gives what came of it.
fn lets_in(what: &str, body: Body, bytes: &[u8]) -> Outcome {
    let began = Instant::now();
    let outcome = calm(what, || body(bytes));
    let took = began.elapsed();
    assert!(took < PATIENCE, "{what} took {took:?}");
    outcome
}

fn replay(name: &str) {
    let (_, body) = TARGETS.iter().find(|(n, _)| *n == name).expect("a way in");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz/corpus")
        .join(name);
    let mut kept: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
        .map(|entry| entry.expect("an entry").path())
        .collect();
    kept.sort();
    assert!(kept.len() >= 5, "{name}: {} are kept", kept.len());
    // What is honest first: an invite is good only once.
    let seeds = seeds(name);
    let honest = seeds
        .iter()
        .filter(|(seed, bytes)| lets_in(seed, *body, bytes) == Outcome::Taken)
        .count();
    assert!(
        honest > 0,
        "{name}: nothing honest is taken, so nothing is shown"
    );
    let (mut taken, mut refused) = (0, 0);
    let mut count = |outcome| match outcome {
        Outcome::Taken => taken += 1,
        Outcome::Refused => refused += 1,
    };
    for path in &kept {
        let bytes = fs::read(path).expect("a file");
        count(lets_in(&path.display().to_string(), *body, &bytes));
    }
    let all: Vec<_> = seeds
        .iter()
        .flat_map(|(seed, bytes)| broken(bytes).map(move |(how, b)| (format!("{seed}: {how}"), b)))
        .collect();
    for (what, bytes) in all.iter().step_by(all.len() / VARIATIONS + 1) {
        count(lets_in(&format!("{name}: {what}"), *body, bytes));
    }
    eprintln!("{name}: {honest} honest taken; of the others {taken} taken, {refused} refused");
}

macro_rules! replays {
    ($($name:ident)*) => {
        $(#[test] fn $name() { replay(stringify!($name)); })*

        #[test]
        fn every_way_in_is_replayed() {
            let here = [$(stringify!($name)),*];
            for (name, _) in TARGETS {
                assert!(here.contains(&name), "{name} is not replayed");
            }
        }
    };
}

replays!(change document bundle envelope answer ask join record book draft rules words log records);
