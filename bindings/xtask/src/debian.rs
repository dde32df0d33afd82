//! The browser toolchain from Debian packages, without installing anything.
//!
//! Debian's packages `rustc-web` and its kin are a recent Rust, with its sources and a matching
//! LLVM. They are downloaded by apt (which checks their signatures), unpacked into a folder of the
//! user's cache, and the standard library of wasm32 is built from their sources. Neither step needs
//! root nor touches the system's packages. The folder appears under its name only when all is done.

use std::env;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::apt::{self, Packages};
use crate::process::{cargo, named_error, run, say, succeeds};

/// The name of the browser's target.
pub(crate) const TARGET: &str = "wasm32-unknown-unknown";

/// Raised whenever this file makes a different prefix from the same packages.
const RECIPE: &str = "wasm-r1-";

/// A finished prefix, or why this machine cannot have one.
pub(crate) enum Prefix {
    /// Unpacked, with the standard library of the target.
    Ready(PathBuf),
    /// Not a Debian with these packages.
    None(String),
}

/// The Rust compiler of a prefix.
pub(crate) fn rustc(prefix: &Path) -> PathBuf {
    prefix.join("bin/rustc")
}

/// The C compiler of a prefix.
pub(crate) fn clang(prefix: &Path) -> PathBuf {
    prefix.join("bin/clang")
}

/// The prefix in the cache, made first if it is not there.
pub(crate) fn prefix() -> Result<Prefix, String> {
    let cache = cache()?;
    if let Some(ready) = newest(&cache) {
        if !succeeds(Command::new(rustc(&ready)).arg("-V")) {
            let ready = ready.display();
            return Err(format!(
                "the Rust in {ready} does not start; delete that folder"
            ));
        }
        return Ok(Prefix::Ready(ready));
    }
    if !succeeds(Command::new("apt-get").arg("--version"))
        || !succeeds(Command::new("dpkg").arg("--version"))
    {
        return Ok(Prefix::None(
            "this is no Debian: apt-get and dpkg are missing".to_owned(),
        ));
    }
    let work = cache.join(format!("partial-{}", std::process::id()));
    clear_leftovers(&cache);
    let made = make(&cache, &work);
    // Whatever became of it, the working folder is of no more use.
    let _ = fs::remove_dir_all(&work);
    made
}

/// `$XDG_CACHE_HOME/pointdown`; a relative path there is ignored, as the XDG specification says.
fn cache() -> Result<PathBuf, String> {
    let named = env::var_os("XDG_CACHE_HOME").map(PathBuf::from);
    let home = env::var_os("HOME").map(|home| PathBuf::from(home).join(".cache"));
    let base = named.filter(|path| path.is_absolute()).or(home);
    let base = base.ok_or("neither XDG_CACHE_HOME nor HOME says where the cache is")?;
    let cache = base.join("pointdown");
    fs::create_dir_all(&cache).map_err(|error| named_error("create", &cache, &error))?;
    Ok(cache)
}

/// The prefix made last of those that can compile the core. Any of them will do: a newer one is had
/// by deleting it.
fn newest(cache: &Path) -> Option<PathBuf> {
    let entries = fs::read_dir(cache).ok()?.filter_map(Result::ok);
    entries
        .filter(|entry| {
            let name = entry.file_name();
            let version = name.to_str().and_then(|name| name.strip_prefix(RECIPE));
            version.is_some_and(apt::recent_enough)
        })
        .max_by_key(|entry| entry.metadata().and_then(|data| data.modified()).ok())
        .map(|entry| entry.path())
}

/// Removes the working folders of runs that were killed. One whose process still lives is left.
fn clear_leftovers(cache: &Path) {
    let Ok(entries) = fs::read_dir(cache) else {
        return;
    };
    for entry in entries.filter_map(Result::ok) {
        let name = entry.file_name().to_string_lossy().into_owned();
        let Some(process) = name.strip_prefix("partial-") else {
            continue;
        };
        let own = process == std::process::id().to_string();
        if own || !Path::new("/proc").join(process).exists() {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// Downloads, unpacks, builds, and at last gives the folder its name.
fn make(cache: &Path, work: &Path) -> Result<Prefix, String> {
    let tree = work.join("tree");
    let debs = work.join("debs");
    for folder in [&tree, &debs] {
        fs::create_dir_all(folder).map_err(|error| named_error("create", folder, &error))?;
    }
    let packages = match apt::download(work, &debs)? {
        Ok(packages) => packages,
        Err(why) => return Ok(Prefix::None(why)),
    };
    say("browser toolchain: unpacking");
    unpack(&debs, &tree)?;
    finish_tree(&tree, &packages)?;
    say("browser toolchain: building the standard library for the target, once");
    build_standard_library(work, &tree)?;
    // Only that build needs the sources.
    let sources = tree.join("usr/src");
    fs::remove_dir_all(&sources).map_err(|error| named_error("remove", &sources, &error))?;
    let ready = cache.join(format!("{RECIPE}{}", packages.version));
    match fs::rename(&tree, &ready) {
        // Another run may have been quicker: then its folder serves as well.
        Err(_) if rustc(&ready).is_file() => {}
        Err(error) => return Err(named_error("create", &ready, &error)),
        Ok(()) => {}
    }
    Ok(Prefix::Ready(ready))
}

/// Unpacks the packages, leaving out the sources of the compiler itself and the manuals: nine tenths
/// of all files, and of no use here.
fn unpack(debs: &Path, tree: &Path) -> Result<(), String> {
    let entries = fs::read_dir(debs).map_err(|error| named_error("read", debs, &error))?;
    for entry in entries.filter_map(Result::ok) {
        let mut archive = Command::new("dpkg")
            .arg("--fsys-tarfile")
            .arg(entry.path())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|error| format!("cannot start dpkg: {error}"))?;
        let mut tar = Command::new("tar");
        tar.args(["--extract", "--anchored", "--no-wildcards-match-slash"]);
        tar.args([
            "--exclude=./usr/src/*/src",
            "--exclude=./usr/src/*/compiler",
        ]);
        tar.args(["--exclude=./usr/share", "--directory"]).arg(tree);
        if let Some(stream) = archive.stdout.take() {
            tar.stdin(stream);
        }
        let unpacked = run(&mut tar);
        // An archive cut short can look whole to tar.
        if !archive.wait().is_ok_and(|status| status.success()) {
            return Err(format!("dpkg cannot read {}", entry.path().display()));
        }
        unpacked?;
    }
    Ok(())
}

/// Adds what the packages expect to find elsewhere: the linker under Rust's name, and compilers
/// that look for their libraries here.
fn finish_tree(tree: &Path, packages: &Packages) -> Result<(), String> {
    let arch = env::consts::ARCH;
    let linker = tree.join(format!("usr/lib/rustlib/{arch}-unknown-linux-gnu/bin"));
    fs::create_dir_all(&linker).map_err(|error| named_error("create", &linker, &error))?;
    let lld = format!("../../../llvm-{}/bin/lld", packages.llvm);
    link(&lld, &linker.join("rust-lld"))?;
    let bin = tree.join("bin");
    fs::create_dir_all(&bin).map_err(|error| named_error("create", &bin, &error))?;
    let clang_program = format!("usr/lib/llvm-{}/bin/clang", packages.llvm);
    for (path, program) in [
        (rustc(tree), "usr/bin/rustc"),
        (clang(tree), &clang_program),
    ] {
        // Found from the script's own place, because the tree is still to be moved.
        let script = format!(
            "#!/bin/sh\n\
             here=$(dirname \"$(dirname \"$(readlink -f \"$0\")\")\")\n\
             LD_LIBRARY_PATH=\"$here/usr/lib/{arch}-linux-gnu\" exec \"$here/{program}\" \"$@\"\n"
        );
        write_program(&path, &script).map_err(|error| named_error("write", &path, &error))?;
    }
    Ok(())
}

#[cfg(unix)]
fn link(to: &str, at: &Path) -> Result<(), String> {
    std::os::unix::fs::symlink(to, at).map_err(|error| named_error("link", at, &error))
}

#[cfg(unix)]
fn write_program(path: &Path, script: &str) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::write(path, script)?;
    fs::set_permissions(path, fs::Permissions::from_mode(0o755))
}

// No apt, no Debian: these are never reached, but the rest of the file compiles everywhere.
#[cfg(not(unix))]
fn link(_: &str, at: &Path) -> Result<(), String> {
    Err(named_error(
        "link",
        at,
        &io::Error::from(io::ErrorKind::Unsupported),
    ))
}

#[cfg(not(unix))]
fn write_program(_: &Path, _: &str) -> io::Result<()> {
    Err(io::Error::from(io::ErrorKind::Unsupported))
}

/// Builds the standard library from an empty crate and puts it where the compiler looks for it.
fn build_standard_library(work: &Path, tree: &Path) -> Result<(), String> {
    let empty = work.join("empty");
    let source = empty.join("src");
    fs::create_dir_all(&source).map_err(|error| named_error("create", &source, &error))?;
    let manifest = "[package]\nname = \"empty\"\nedition = \"2024\"\n\n[workspace]\n";
    for (path, text) in [
        (empty.join("Cargo.toml"), manifest),
        (source.join("lib.rs"), ""),
    ] {
        fs::write(&path, text).map_err(|error| named_error("write", &path, &error))?;
    }
    let target = work.join("target");
    let mut command = cargo(&["build", "--release", "-Zbuild-std=std,panic_abort"]);
    command
        .args(["--target", TARGET, "--target-dir"])
        .arg(&target);
    command.current_dir(&empty);
    for disturbing in [
        "CARGO_ENCODED_RUSTFLAGS",
        "CARGO_BUILD_RUSTFLAGS",
        "RUSTC_WRAPPER",
    ] {
        command.env_remove(disturbing);
    }
    command.env("RUSTC", rustc(tree));
    // Building the standard library is reserved to nightly compilers; the sources are the very ones
    // that this compiler was made from.
    command.env("RUSTC_BOOTSTRAP", "1");
    // Without the bitcode, link-time optimisation of the app fails later.
    command.env("RUSTFLAGS", "-C embed-bitcode=yes");
    run(&mut command)?;
    let built = target.join(TARGET).join("release/deps");
    let library = tree.join("usr/lib/rustlib").join(TARGET).join("lib");
    fs::create_dir_all(&library).map_err(|error| named_error("create", &library, &error))?;
    let entries = fs::read_dir(&built).map_err(|error| named_error("read", &built, &error))?;
    for entry in entries.filter_map(Result::ok) {
        let path = entry.path();
        let name = entry.file_name();
        let wanted = path
            .extension()
            .is_some_and(|kind| kind == "rlib" || kind == "rmeta");
        if wanted && !name.to_string_lossy().starts_with("libempty-") {
            let to = library.join(name);
            fs::copy(&path, &to).map_err(|error| named_error("write", &to, &error))?;
        }
    }
    Ok(())
}
