//! `pointdown-pack CORE.wasm APP OUT`: from the compiled core and the app's own files to the folder
//! that the server carries.
//!
//! Everything but the entry page, the manifest and the service worker stands under a name that
//! follows from its content (`v/<version>/`), so that two versions never mix. Each file is written
//! compressed, once for Brotli and once for gzip; `list` names them all.

use std::collections::BTreeMap;
use std::error::Error;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use flate2::Compression;
use flate2::write::GzEncoder;
use sha2::{Digest, Sha256};
use wasm_bindgen_cli_support::Bindgen;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Files that keep their name, because browsers ask for them under it.
const FIXED: [&str; 3] = ["index.html", "manifest.webmanifest", "sw.js"];

/// What stands for the version within those.
const VERSION_MARK: &str = "@VERSION@";

/// What stands for the list of versioned files within the service worker.
const FILES_MARK: &str = "@FILES@";

/// What stands in the entry page for the modules that it will need, so that they are fetched at once
/// instead of one after the other as each is read.
const MODULES_MARK: &str = "@MODULES@";

/// Modules of the worker, which the page itself never loads.
const OF_WORKER: [&str; 3] = ["core/pointdown.js", "exchange.js", "worker.js"];

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let done = match words.as_slice() {
        [core, app, out] => pack(Path::new(core), Path::new(app), Path::new(out)),
        _ => Err("three words are needed: CORE.wasm APP OUT".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "pack: {e}");
            ExitCode::FAILURE
        }
    }
}

fn pack(core: &Path, app: &Path, out: &Path) -> Result<()> {
    let mut files = BTreeMap::new();
    read_all(app, app, &mut files)?;
    files.extend(glue(core)?);
    let version = version(&files);
    if fs::read_to_string(out.join("version")).is_ok_and(|last| last == version) {
        return Ok(());
    }
    let (fixed, mut versioned): (BTreeMap<_, _>, BTreeMap<_, _>) = files
        .into_iter()
        .partition(|(name, _)| FIXED.contains(&name.as_str()));
    // Notes and licences belong to the sources; a phone needs none of them to run.
    versioned.retain(|name, _| !name.ends_with(".md") && !name.ends_with("LICENSE"));
    let names: Vec<String> = versioned.keys().map(|name| format!("{name:?}")).collect();
    let modules: String = versioned
        .keys()
        .filter(|name| name.ends_with(".js") && !OF_WORKER.contains(&name.as_str()))
        .map(|name| format!("<link rel=\"modulepreload\" href=\"/phone/v/{version}/{name}\">\n"))
        .collect();
    let mut all: BTreeMap<String, Vec<u8>> = versioned
        .iter()
        .map(|(name, bytes)| (format!("v/{version}/{name}"), bytes.clone()))
        .collect();
    for (name, bytes) in fixed {
        let text = String::from_utf8(bytes)?
            .replace(VERSION_MARK, &version)
            .replace(FILES_MARK, &names.join(", "))
            .replace(MODULES_MARK, modules.trim_end());
        all.insert(name, text.into_bytes());
    }
    let partial = out.with_extension("partial");
    let _ = fs::remove_dir_all(&partial);
    let mut list = String::new();
    for (name, bytes) in &all {
        let path = partial.join(name);
        fs::create_dir_all(path.parent().unwrap_or(&partial))?;
        let (br, gz) = (brotli(bytes)?, gzip(bytes)?);
        list += &format!("{name}\t{}\t{}\t{}\n", bytes.len(), br.len(), gz.len());
        fs::write(beside(&path, "br"), br)?;
        fs::write(beside(&path, "gz"), gz)?;
    }
    fs::write(partial.join("list"), &list)?;
    fs::write(partial.join("version"), &version)?;
    let _ = fs::remove_dir_all(out);
    fs::rename(&partial, out)?;
    write!(std::io::stderr(), "{list}")?;
    Ok(())
}

fn beside(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".");
    name.push(end);
    PathBuf::from(name)
}

/// Every file of a folder by its path within, with slashes.
fn read_all(top: &Path, folder: &Path, files: &mut BTreeMap<String, Vec<u8>>) -> Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            read_all(top, &path, files)?;
        } else {
            let name = path.strip_prefix(top)?.to_string_lossy().replace('\\', "/");
            files.insert(name, fs::read(&path)?);
        }
    }
    Ok(())
}

/// The core with its JavaScript glue.
fn glue(core: &Path) -> Result<Vec<(String, Vec<u8>)>> {
    let mut made = Bindgen::new()
        .input_path(core)
        .web(true)?
        .typescript(false)
        // Names of functions would be a quarter of what travels.
        .remove_name_section(true)
        .remove_producers_section(true)
        .out_name("pointdown")
        .generate_output()?;
    let js = made.js().as_bytes().to_vec();
    let wasm = made.wasm_mut().emit_wasm();
    Ok(vec![
        ("core/pointdown.js".to_owned(), js),
        ("core/pointdown_bg.wasm".to_owned(), wasm),
    ])
}

/// The first characters of a hash of every name and content.
fn version(files: &BTreeMap<String, Vec<u8>>) -> String {
    let mut hash = Sha256::new();
    for (name, bytes) in files {
        for part in [name.as_bytes(), bytes] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
    }
    let hash = hash.finalize();
    hash.iter()
        .take(6)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

fn brotli(bytes: &[u8]) -> Result<Vec<u8>> {
    let mut packed = Vec::new();
    {
        let mut writer = brotli::CompressorWriter::new(&mut packed, 1 << 16, 11, 24);
        writer.write_all(bytes)?;
    }
    Ok(packed)
}

fn gzip(bytes: &[u8]) -> Result<Vec<u8>> {
    let mut writer = GzEncoder::new(Vec::new(), Compression::best());
    writer.write_all(bytes)?;
    Ok(writer.finish()?)
}
