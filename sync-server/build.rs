//! Carries the phone app inside the program, where `cargo xtask web` has built it.
//!
//! `POINTDOWN_PHONE` may name another folder than `phone` within the folder that cargo builds into.

use std::env;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

fn main() {
    println!("cargo::rerun-if-env-changed=POINTDOWN_PHONE");
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    let made = table(&out).and_then(|table| fs::write(out.join("phone.rs"), table));
    if let Err(e) = made {
        println!("cargo::error=the phone app cannot be built in: {e}");
    }
}

/// The files as Rust; none where the app was not built.
fn table(out: &Path) -> io::Result<String> {
    let mut table = String::from("&[");
    if let Some(folder) = folder(out) {
        // A folder that is made here, empty, lets cargo notice when the app is built later.
        fs::create_dir_all(&folder)?;
        println!("cargo::rerun-if-changed={}", folder.display());
        let list = fs::read_to_string(folder.join("list")).unwrap_or_default();
        let names = list.lines().filter_map(|line| line.split('\t').next());
        for (n, name) in names.enumerate() {
            // Copied, so that a newer app that is built meanwhile does not mix with this one.
            for end in ["br", "gz"] {
                let from = folder.join(format!("{name}.{end}"));
                fs::copy(from, out.join(format!("{n}.{end}")))?;
            }
            let packed =
                |end: &str| format!("include_bytes!(concat!(env!(\"OUT_DIR\"), \"/{n}.{end}\"))");
            let (br, gz) = (packed("br"), packed("gz"));
            table += &format!("Asset {{ name: {name:?}, br: {br}, gz: {gz} }},");
        }
    }
    table.push(']');
    Ok(table)
}

fn folder(out: &Path) -> Option<PathBuf> {
    if let Some(named) = env::var_os("POINTDOWN_PHONE").filter(|named| !named.is_empty()) {
        return Some(PathBuf::from(named));
    }
    // Cargo marks the folder that it builds into, however deep below it this runs.
    out.ancestors()
        .find(|above| above.join("CACHEDIR.TAG").is_file())
        .map(|target| target.join("phone"))
}
