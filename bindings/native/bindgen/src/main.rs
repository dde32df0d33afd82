//! The generator of the language sides; `interface LIBRARY`, which prints everything that an app can
//! see of the library as plain text: what the guard of the interface compares; and `stub LIBRARY`, which
//! prints what type checkers know of the Python side.

mod interface;
mod stub;

use std::env;
use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = env::args().skip(1).collect();
    let [first, library] = words.as_slice() else {
        uniffi::uniffi_bindgen_main();
        return ExitCode::SUCCESS;
    };
    let told = match first.as_str() {
        "interface" => interface::of(library),
        "stub" => stub::of(library),
        _ => {
            uniffi::uniffi_bindgen_main();
            return ExitCode::SUCCESS;
        }
    };
    match told {
        Ok(text) => {
            print!("{text}");
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("error: {why}");
            ExitCode::FAILURE
        }
    }
}
