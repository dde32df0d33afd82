//! Carries the phone app inside the program, where `cargo xtask web` has built it.
//!
//! `POINTDOWN_PHONE` may name another folder than `phone` within the folder that cargo builds into.

use std::env;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

fn main() {
    println!("cargo::rerun-if-env-changed=POINTDOWN_PHONE");
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    let mut table = String::from("&[");
    if let Some(folder) = folder(&out) {
        // A folder that is made here, empty, lets cargo notice when the app is built later.
        let _ = fs::create_dir_all(&folder);
        println!("cargo::rerun-if-changed={}", folder.display());
        let list = fs::read_to_string(folder.join("list")).unwrap_or_default();
        for name in list.lines().filter_map(|line| line.split('\t').next()) {
            let packed = |end: &str| format!("{}.{end}", folder.join(name).display());
            let _ = write!(
                table,
                "Asset {{ name: {name:?}, br: include_bytes!({:?}), gz: include_bytes!({:?}) }},",
                packed("br"),
                packed("gz"),
            );
        }
    }
    table.push(']');
    if let Err(e) = fs::write(out.join("phone.rs"), table) {
        println!("cargo::error=cannot write the list of the phone app's files: {e}");
    }
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
