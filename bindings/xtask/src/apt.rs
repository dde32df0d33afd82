//! Asking apt for the packages of a Rust with its LLVM, with or without the right to install any.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::process::{named_error, output, run, say};

/// The packages of one Rust version and the LLVM it was built with.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Packages {
    /// Debian's version of Rust.
    pub(crate) version: String,
    /// The major version of LLVM.
    pub(crate) llvm: String,
    names: Vec<String>,
}

impl Packages {
    /// Whether the core compiles with this Rust.
    fn serves(&self) -> bool {
        recent_enough(&self.version)
    }

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

/// The oldest Rust that the workspace compiles with, as its `rust-version` says.
const NEEDED: &str = env!("CARGO_PKG_RUST_VERSION");

/// Whether a Debian version of Rust, such as `1.96.0+dfsg1-1~deb12u2`, is at least the one needed.
pub(crate) fn recent_enough(version: &str) -> bool {
    let parts = |text: &str| -> Option<(u32, u32)> {
        let mut numbers = text.split('.').map(|part| part.parse().ok());
        Some((numbers.next()??, numbers.next()??))
    };
    parts(version) >= parts(NEEDED)
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

/// Fetches the packages, or says why apt has none that serve.
pub(crate) fn download(work: &Path, debs: &Path) -> Result<Result<Packages, String>, String> {
    // First by the system's own lists, then by fresh private ones: the system's may be missing or
    // so old that what they name is gone or too old to serve, and only root may renew them.
    let quiet = vec![
        "-qq".to_owned(),
        "-o".to_owned(),
        "APT::Sandbox::User=root".to_owned(),
    ];
    if let Some(packages) = Packages::find(&[]) {
        if packages.serves() && fetch(&quiet, &packages, debs).is_ok() {
            return Ok(Ok(packages));
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
        let why = "apt knows no package rustc-web, which Debian 12 and later have";
        return Ok(Err(why.to_owned()));
    };
    if !packages.serves() {
        let version = &packages.version;
        let why = format!("the newest Rust of this Debian is {version}, and {NEEDED} is needed");
        return Ok(Err(why));
    }
    fetch(&apt, &packages, debs)?;
    Ok(Ok(packages))
}

/// Downloads the packages into a folder that holds nothing else afterwards.
fn fetch(apt: &[String], packages: &Packages, debs: &Path) -> Result<(), String> {
    let version = &packages.version;
    say(&format!(
        "browser toolchain: downloading Debian's Rust {version} (about 150 MB)"
    ));
    // What an earlier attempt left there would be unpacked too.
    let emptied = fs::remove_dir_all(debs).and_then(|()| fs::create_dir(debs));
    emptied.map_err(|error| named_error("empty", debs, &error))?;
    let mut command = Command::new("apt-get");
    command
        .args(apt)
        .arg("download")
        .args(&packages.names)
        .current_dir(debs);
    run(&mut command)
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
    fn an_old_rust_does_not_serve() {
        assert!(recent_enough(&format!("{NEEDED}.0+dfsg1-1~deb12u2")));
        assert!(recent_enough("2.0.0-1"));
        for old in ["1.85.0+dfsg3-1~deb12u3", "1.9.0", "no version"] {
            assert!(!recent_enough(old), "{old}");
        }
    }

    #[test]
    fn the_numbered_dependency_is_found_among_others() {
        assert_eq!(dependency(CONTROL, "libllvm").as_deref(), Some("libllvm22"));
        assert_eq!(dependency(CONTROL, "libstd-rust-web-"), None);
    }
}
