//! The generator of the language sides, and `interface LIBRARY`, which prints everything that an app
//! can see of the library as plain text: what the guard of the interface compares.

mod interface;

use std::env;
use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = env::args().skip(1).collect();
    let [first, library] = words.as_slice() else {
        uniffi::uniffi_bindgen_main();
        return ExitCode::SUCCESS;
    };
    if first != "interface" {
        uniffi::uniffi_bindgen_main();
        return ExitCode::SUCCESS;
    }
    match interface::of(library) {
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
