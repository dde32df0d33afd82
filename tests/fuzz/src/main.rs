//! One binary for every way in: `POINTDOWN_FUZZ` names which of the bodies in
//! `pointdown_tests::fuzz` the bytes go to. With `POINTDOWN_SEEDS` the honest inputs that they start
//! from are written into that folder first.
#![no_main]

use std::panic::catch_unwind;
use std::path::PathBuf;
use std::sync::{Mutex, OnceLock};

use libfuzzer_sys::fuzz_target;
use pointdown_tests::fuzz::{Body, TARGETS, seeds, target};

static LAST: Mutex<String> = Mutex::new(String::new());

fn chosen() -> Body {
    static CHOSEN: OnceLock<Body> = OnceLock::new();
    *CHOSEN.get_or_init(|| {
        let name = std::env::var("POINTDOWN_FUZZ").unwrap_or_default();
        let body = target(&name).unwrap_or_else(|| {
            let all: Vec<_> = TARGETS.iter().map(|(name, _)| *name).collect();
            panic!("POINTDOWN_FUZZ is {name:?}; allowed are {}", all.join(", "))
        });
        if let Some(folder) = std::env::var_os("POINTDOWN_SEEDS").map(PathBuf::from) {
            for (seed, bytes) in seeds(&name) {
                std::fs::write(folder.join(seed), bytes).expect("the folder can be written");
            }
        }
        body
    })
}

fuzz_target!(
    init: {
        // The hook of libFuzzer ends the program at any panic, even at one that the ledger catches.
        // One that nobody catches still ends the run.
        std::panic::set_hook(Box::new(|panic| {
            // With RUST_BACKTRACE=1 from where, which is slow.
            let trace = std::backtrace::Backtrace::capture();
            *LAST.lock().expect("nothing panics here") = format!("{panic}\n{trace}");
        }));
        chosen();
    },
    |bytes: &[u8]| {
        if catch_unwind(|| chosen()(bytes)).is_err() {
            eprintln!("{}", LAST.lock().expect("nothing panics here"));
            std::process::abort();
        }
    }
);
