//! Pointdown in a terminal: every command wraps one or two calls of the core's `farm` facade.

mod args;
mod base;
mod commands;
mod fail;
mod findings;
mod input;
mod moments;
mod run;
mod tables;
mod words;

use std::io::{self, BufWriter, Write};
use std::process::ExitCode;

use clap::Parser;
use serde_json::json;

use crate::args::Cli;
use crate::fail::Failure;
use crate::tables::Screen;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) => return not_understood(&e),
    };
    let json = cli.json;
    let mut out = BufWriter::new(io::stdout().lock());
    let done = run::run(cli, &mut Screen::new(&mut out, json));
    // What a command printed before it failed is still shown.
    let done = done.and(out.flush().map_err(Failure::Output));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) if e.is_broken_pipe() => ExitCode::SUCCESS,
        Err(e) => {
            complain(&e.text(json));
            ExitCode::from(e.code())
        }
    }
}

/// Help and version are no errors; anything else is exit code 2.
fn not_understood(e: &clap::Error) -> ExitCode {
    let json = std::env::args_os().any(|arg| arg == "--json");
    if e.use_stderr() && json {
        let message = e.render().to_string();
        complain(&json!({"error": "usage", "message": message.trim()}).to_string());
    } else {
        // A closed pipe has nobody left to tell.
        drop(e.print());
    }
    ExitCode::from(u8::try_from(e.exit_code()).unwrap_or(2))
}

fn complain(text: &str) {
    drop(writeln!(io::stderr(), "{text}"));
}
