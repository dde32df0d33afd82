//! `cargo xtask`: the project's own commands, for a contributor's machine and for the gate alike.
//!
//! The crate uses nothing but the standard library, so that it builds in a second or two; whatever
//! is heavy, it starts as a cargo command of its own.

mod apt;
mod bench;
mod bindings;
mod debian;
mod deny;
mod gate;
mod instructions;
mod phone;
mod process;
mod programs;
mod report;
mod wasm;
mod web;

use std::process::ExitCode;

const HELP: &str = "\
The project's own commands. Run them from anywhere inside the repository.

  cargo xtask test [--list] [FROM]
                     Every check that a change must pass, in order, stopping at the first that
                     fails. What was skipped is listed at the end. --list only names the steps;
                     FROM, the name of a step, starts there instead of at the beginning.
  cargo xtask wasm   Only compile the core for the browser (wasm32-unknown-unknown).
  cargo xtask web    Build the phone app, which the server then carries inside its program.
  cargo xtask demo [--once] [--json]
                     Build and run the demonstration: a made-up family with several phones and
                     a server. All words after `demo` go to it; with --json it prints one JSON
                     object on standard output.
  cargo xtask checks [--json | --page]
                     Build and run the list of checks against published values. All words after
                     `checks` go to it.
  cargo xtask simulate [--seeds N] [--seed S] [--trace] [--json]
                     Play simulated families, each from its seed, with everything that can befall
                     phones, links and server; a seed that fails is shrunk to a short script.
                     --seed S plays that one again, or begins there; --trace tells its steps.
  cargo xtask simulate --mutants [--mutant NAME] [--json]
                     Put deliberate faults into core and server, one at a time, and show which
                     seed notices each.
  cargo xtask load [--families N] [--seconds S] [--store sqlite|postgres] [--streams N]
                   [--clients N] [--processes N] [--json]
                     Let simulated families sync with a real server over loopback, and tell how
                     much it bears and that nothing was lost or doubled. PostgreSQL is started in
                     a folder of its own.
  cargo xtask bindings [interface | python | kotlin | swift]
                     Only the library for native apps: its interface against what is intended, and
                     the tests of each language that can be tested here.
  cargo xtask bindings --bless
                     Take the interface as it is now for the intended one.
  cargo xtask bench [--json] [--quick] [--alone] [--years 0,1,5,20] [--no-browser]
                     The same work through Pointdown and through general-purpose libraries, with
                     years of history there, beside its targets. See tests/benches/README.md.
  cargo xtask bench --bindings
                     What the library for native apps weighs, and what calls into it cost from
                     Python.
  cargo xtask instructions [--keep]
                     Count the instructions of the paths that people wait for, under valgrind, and
                     hold them against the kept counts; --keep writes those.
  cargo xtask help   This text.

Needed: Rust by rustup, with rustfmt and clippy, and a C compiler. The browser compile also needs
the standard library of wasm32-unknown-unknown and a clang; `cargo xtask test` sees to the first
by rustup and, on Debian, to both without touching the system, and says so. Settings:

  POINTDOWN_WASM_TOOLCHAIN=debian   Take the browser toolchain from Debian packages, unpacked into
                                    a private cache folder; never ask rustup for anything.
  POINTDOWN_ADVISORIES=skip         Do not try to fetch the database of security advisories.
  XDG_CACHE_HOME                    Where the cache folder `pointdown` lies (default ~/.cache).
";

fn main() -> ExitCode {
    let mut words = std::env::args().skip(1);
    let command = words.next().unwrap_or_else(|| "help".to_owned());
    let rest: Vec<String> = words.collect();
    let outcome = match command.as_str() {
        "test" => gate::run_words(&rest),
        "wasm" => none_left(&command, &rest).and_then(|()| wasm::command()),
        "web" => none_left(&command, &rest).and_then(|()| web::command()),
        "demo" => programs::run("demo", &rest),
        "checks" => programs::run("checks", &rest),
        "simulate" => programs::simulate(&rest),
        "load" => programs::load(&rest),
        "bindings" => bindings::command(&rest),
        "bench" => bench::command(&rest),
        "instructions" => instructions::command(&rest),
        "help" | "--help" | "-h" => {
            process::print(HELP);
            Ok(())
        }
        other => Err(format!(
            "there is no command {other:?}; allowed are test, wasm, web, bindings, demo, checks, \
             simulate, load, bench, instructions and help"
        )),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            process::say(&format!("error: {message}"));
            ExitCode::FAILURE
        }
    }
}

/// Refuses words that a command would otherwise ignore.
fn none_left(command: &str, rest: &[String]) -> Result<(), String> {
    match rest.first() {
        None => Ok(()),
        Some(word) => Err(format!(
            "`cargo xtask {command}` takes no argument, but was given {word:?}"
        )),
    }
}
