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
use std::process::Command;

use crate::process::{cargo, output, run, say, succeeds};
use crate::wasm::TARGET;

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

/// The prefix made last. Any finished one will do: a newer one is had by deleting it.
fn newest(cache: &Path) -> Option<PathBuf> {
    let entries = fs::read_dir(cache).ok()?.filter_map(Result::ok);
    entries
        .filter(|entry| entry.file_name().to_string_lossy().starts_with(RECIPE))
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
    let packages = match download(work, &debs)? {
        Some(packages) => packages,
        None => {
            let why = "apt knows no package rustc-web, which Debian 12 and later have";
            return Ok(Prefix::None(why.to_owned()));
        }
    };
    say("browser toolchain: unpacking");
    unpack(&debs, &tree)?;
    finish_tree(&tree, &packages)?;
    say("browser toolchain: building the standard library for the target, once");
    build_standard_library(work, &tree)?;
    // Only that build needs the sources, and they are half of the whole.
    for folder in ["usr/src", "usr/share"] {
        let folder = tree.join(folder);
        fs::remove_dir_all(&folder).map_err(|error| named_error("remove", &folder, &error))?;
    }
    let ready = cache.join(format!("{RECIPE}{}", packages.version));
    match fs::rename(&tree, &ready) {
        // Another run may have been quicker: then its folder serves as well.
        Err(_) if rustc(&ready).is_file() => {}
        Err(error) => return Err(named_error("create", &ready, &error)),
        Ok(()) => {}
    }
    Ok(Prefix::Ready(ready))
}

/// The packages of one Rust version and the LLVM it was built with.
#[derive(Debug, PartialEq, Eq)]
struct Packages {
    version: String,
    llvm: String,
    names: Vec<String>,
}

impl Packages {
    /// Follows the dependencies from `rustc-web`, so that a later Rust or LLVM needs no change here.
    fn find(apt: &[String]) -> Option<Self> {
        let version = field(&show(apt, "rustc-web")?, "Version")?;
        let dev = show(apt, "libstd-rust-web-dev")?;
        let library = dependency(&dev, "libstd-rust-web-")?;
        let llvm = dependency(&show(apt, &library)?, "libllvm")?;
        let llvm = llvm.trim_start_matches("libllvm").to_owned();
        let names = vec![
            "rustc-web".to_owned(),
            "libstd-rust-web-dev".to_owned(),
            "rust-web-src".to_owned(),
            library,
            format!("libllvm{llvm}"),
            format!("lld-{llvm}"),
            format!("clang-{llvm}"),
            format!("libclang-cpp{llvm}"),
            format!("libclang-common-{llvm}-dev"),
        ];
        Some(Self {
            version,
            llvm,
            names,
        })
    }
}

/// What apt knows about a package.
fn show(apt: &[String], package: &str) -> Option<String> {
    let mut command = Command::new("apt-cache");
    command
        .args(apt)
        .args(["show", "--no-all-versions", package]);
    output(&mut command).ok()
}

/// The value of one field of a package's control data.
fn field(control: &str, name: &str) -> Option<String> {
    let mut lines = control.lines().filter_map(|line| line.split_once(": "));
    lines
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value.to_owned())
}

/// The first package among the dependencies whose name is `prefix` and a version number.
fn dependency(control: &str, prefix: &str) -> Option<String> {
    let depends = field(control, "Depends")?;
    let names = depends
        .split(',')
        .filter_map(|one| one.split_whitespace().next());
    let mut numbered = names.filter(|name| {
        let rest = name.strip_prefix(prefix);
        rest.is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
    });
    numbered.next().map(str::to_owned)
}

/// Fetches the packages; `None` where apt does not know them.
fn download(work: &Path, debs: &Path) -> Result<Option<Packages>, String> {
    // First by the system's own lists, then by fresh private ones: the system's may be missing or
    // so old that what they name is gone, and only root may renew them.
    let quiet = vec![
        "-qq".to_owned(),
        "-o".to_owned(),
        "APT::Sandbox::User=root".to_owned(),
    ];
    if let Some(packages) = Packages::find(&[]) {
        if fetch(&quiet, &packages, debs).is_ok() {
            return Ok(Some(packages));
        }
        say("browser toolchain: the system's package lists are out of date");
    }
    say("browser toolchain: fetching package lists, kept apart from the system's");
    let mut apt = quiet;
    for (option, folder) in [("Dir::State::Lists", "lists"), ("Dir::Cache", "archives")] {
        let folder = work.join(folder);
        fs::create_dir_all(folder.join("partial"))
            .map_err(|error| named_error("create", &folder, &error))?;
        apt.extend(["-o".to_owned(), format!("{option}={}/", folder.display())]);
    }
    apt.extend(["-o".to_owned(), "Debug::NoLocking=true".to_owned()]);
    run(Command::new("apt-get").args(&apt).arg("update"))?;
    let Some(packages) = Packages::find(&apt) else {
        return Ok(None);
    };
    fetch(&apt, &packages, debs)?;
    Ok(Some(packages))
}

fn fetch(apt: &[String], packages: &Packages, debs: &Path) -> Result<(), String> {
    let version = &packages.version;
    say(&format!(
        "browser toolchain: downloading Debian's Rust {version} (about 150 MB)"
    ));
    let mut command = Command::new("apt-get");
    command
        .args(apt)
        .arg("download")
        .args(&packages.names)
        .current_dir(debs);
    run(&mut command)
}

fn unpack(debs: &Path, tree: &Path) -> Result<(), String> {
    let entries = fs::read_dir(debs).map_err(|error| named_error("read", debs, &error))?;
    for entry in entries.filter_map(Result::ok) {
        run(Command::new("dpkg").arg("-x").arg(entry.path()).arg(tree))?;
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

fn named_error(what: &str, path: &Path, error: &io::Error) -> String {
    format!("cannot {what} {}: {error}", path.display())
}

#[cfg(test)]
mod tests {
    use super::*;

    // The form is that of deb-control(5).
    const CONTROL: &str = "Package: libstd-rust-web-1.96\nVersion: 1.96.0+dfsg1-1~deb12u2\n\
        Depends: libc6 (>= 2.34), libllvm-other, libllvm22, libstdc++6 (>= 11)\n\
        Description: Rust: standard libraries\n";

    #[test]
    fn a_field_is_read_up_to_the_first_colon() {
        assert_eq!(
            field(CONTROL, "Version").as_deref(),
            Some("1.96.0+dfsg1-1~deb12u2")
        );
        assert_eq!(
            field(CONTROL, "Description").as_deref(),
            Some("Rust: standard libraries")
        );
        assert_eq!(field(CONTROL, "Recommends"), None);
    }

    #[test]
    fn the_numbered_dependency_is_found_among_others() {
        assert_eq!(dependency(CONTROL, "libllvm").as_deref(), Some("libllvm22"));
        assert_eq!(dependency(CONTROL, "libstd-rust-web-"), None);
    }
}
