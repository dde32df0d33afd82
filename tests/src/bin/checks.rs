//! Prints the figures of the trade beside their sources: a table, `--json`, or `--page`, which
//! writes the page `tests/checks.md` of the checkout this was built from. Ends with a failure when
//! a figure disagrees.

use std::io::Write;
use std::process::ExitCode;

use pointdown_tests::checks::{all, json, markdown, table};

fn main() -> ExitCode {
    let rows = all();
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let written = match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => std::io::stdout().write_all(table(&rows).as_bytes()),
        ["--json"] => writeln!(std::io::stdout(), "{}", json(&rows)),
        ["--page"] => {
            let page = concat!(env!("CARGO_MANIFEST_DIR"), "/checks.md");
            std::fs::write(page, markdown(&rows))
        }
        _ => {
            let _ = writeln!(
                std::io::stderr(),
                "checks: unknown arguments {arguments:?}; allowed are none, --json or --page"
            );
            return ExitCode::from(2);
        }
    };
    let agree = rows.iter().all(|row| row.ok);
    match written {
        Ok(()) if agree => ExitCode::SUCCESS,
        Ok(()) => ExitCode::FAILURE,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "checks: {error}");
            ExitCode::FAILURE
        }
    }
}
