//! The core in the browser: choosing a toolchain for wasm32-unknown-unknown, and compiling.
//!
//! Two things are needed beyond the ordinary: Rust's standard library for the target, and a clang
//! that can compile for it (SQLite is C). Where they come from is decided here and said aloud.

use std::env;
use std::ffi::OsString;
use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::debian::{self, TARGET};
use crate::process::{cargo, output, run, say, shown, succeeds, target_dir};
use crate::report::Done;

const COMPILER_VARIABLE: &str = "CC_wasm32_unknown_unknown";
const ARCHIVER_VARIABLE: &str = "AR_wasm32_unknown_unknown";

/// What makes a cargo command compile for the browser.
pub(crate) struct Toolchain {
    variables: Vec<(&'static str, OsString)>,
    /// Differs between any two standard libraries, even of the same version.
    identity: String,
}

/// A toolchain, or why there is none on this machine.
pub(crate) enum Choice {
    /// Ready to use.
    Ready(Toolchain),
    /// Nothing is broken, but this machine cannot compile for the browser.
    None(String),
}

impl Toolchain {
    /// The active Rust with this C compiler.
    fn active(clang: OsString) -> Self {
        let mut variables = vec![(COMPILER_VARIABLE, clang)];
        // The C compiler's build script looks for llvm-ar alone; binutils' ar does as well.
        let llvm = succeeds(Command::new("llvm-ar").arg("--version"));
        if env::var_os(ARCHIVER_VARIABLE).is_none() && !llvm {
            variables.push((ARCHIVER_VARIABLE, "ar".into()));
        }
        let identity = "active".to_owned();
        Self {
            variables,
            identity,
        }
    }

    /// Debian's Rust and clang, unpacked into a private prefix.
    fn private(prefix: &Path) -> Self {
        let rustc = debian::rustc(prefix);
        let made = fs::metadata(&rustc).and_then(|data| data.modified());
        let identity = format!("{} {made:?}", rustc.display());
        let variables = vec![
            ("RUSTC", rustc.into_os_string()),
            (COMPILER_VARIABLE, debian::clang(prefix).into_os_string()),
            (ARCHIVER_VARIABLE, "ar".into()),
        ];
        Self {
            variables,
            identity,
        }
    }

    /// A cargo command for the target, building into a folder of its own: another compiler in the
    /// common folder would make each build throw away the other's work.
    pub(crate) fn cargo(&self, arguments: &[&str]) -> Result<Command, String> {
        let mut command = cargo(arguments);
        command.args(["--target", TARGET]).arg("--target-dir");
        command.arg(self.folder()?);
        command.envs(self.variables.iter().map(|(name, value)| (name, value)));
        Ok(command)
    }

    /// The folder, emptied if it was last used with another standard library. Cargo tells compilers
    /// apart by version only, and would link old work against a library that it was not made for.
    pub(crate) fn folder(&self) -> Result<PathBuf, String> {
        let folder = target_dir().join("browser");
        let stamp = folder.join("toolchain");
        if fs::read_to_string(&stamp).is_ok_and(|last| last == self.identity) {
            return Ok(folder);
        }
        let fresh = match fs::remove_dir_all(&folder) {
            Err(error) if error.kind() != ErrorKind::NotFound => Err(error),
            _ => fs::create_dir_all(&folder).and_then(|()| fs::write(&stamp, &self.identity)),
        };
        fresh.map_err(|error| format!("cannot empty {}: {error}", folder.display()))?;
        Ok(folder)
    }
}

/// `cargo xtask wasm`: the step of the gate alone; here a skip is a failure.
pub(crate) fn command() -> Result<(), String> {
    match compile_core()? {
        Done::Ran(_) => Ok(()),
        Done::Skipped(why) => Err(format!("cannot compile for the browser here: {why}")),
    }
}

/// Compiles the core for the browser, C code of SQLite included.
///
/// Nothing runs the result, so the dependencies are not optimised as tests want them: that takes
/// 40 s instead of 5 minutes on two cores.
pub(crate) fn compile_core() -> Result<Done, String> {
    let toolchain = match choose()? {
        Choice::Ready(toolchain) => toolchain,
        Choice::None(why) => return Ok(Done::Skipped(why)),
    };
    let mut command = toolchain.cargo(&["build", "--locked", "--package", "pointdown-core"])?;
    command.args(["--lib", "--no-default-features", "--features", "farm,paper"]);
    command.args(["--config", "profile.dev.package.\"*\".opt-level=0"]);
    say(&format!("  {}", shown(&command)));
    run(&mut command)?;
    Ok(Done::Ran(None))
}

/// Decides where the toolchain comes from: what is installed; Debian's packages where they are
/// asked for or no usable clang is here; otherwise rustup.
pub(crate) fn choose() -> Result<Choice, String> {
    let debian_wanted = debian_wanted()?;
    let clang = usable_clang();
    match (standard_library_installed(), clang) {
        (true, Some(clang)) => {
            say(&format!(
                "browser toolchain: the installed {TARGET} and clang"
            ));
            return Ok(Choice::Ready(Toolchain::active(clang)));
        }
        (false, Some(clang)) if !debian_wanted => return from_rustup(clang),
        (_, None) if !debian_wanted => {
            say("browser toolchain: no clang here compiles for wasm32, so Debian's, kept apart");
        }
        _ => say("browser toolchain: Debian packages, as POINTDOWN_WASM_TOOLCHAIN asks"),
    }
    Ok(match debian::prefix()? {
        debian::Prefix::Ready(path) => {
            say(&format!("browser toolchain: in {}", path.display()));
            Choice::Ready(Toolchain::private(&path))
        }
        debian::Prefix::None(why) => Choice::None(format!(
            "{why}; install a clang that compiles for wasm32 (or name it in {COMPILER_VARIABLE}) \
             and run `rustup target add {TARGET}`"
        )),
    })
}

/// Reads `POINTDOWN_WASM_TOOLCHAIN`.
fn debian_wanted() -> Result<bool, String> {
    const NAME: &str = "POINTDOWN_WASM_TOOLCHAIN";
    match env::var(NAME).as_deref() {
        Err(_) | Ok("") => Ok(false),
        Ok("debian") => Ok(true),
        Ok(other) => Err(format!("{NAME} is {other:?}; allowed is only \"debian\"")),
    }
}

/// Whether the active Rust has the target's standard library.
fn standard_library_installed() -> bool {
    let program = env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let mut command = Command::new(program);
    command.args(["--print", "target-libdir", "--target", TARGET]);
    output(&mut command).is_ok_and(|path| PathBuf::from(path.trim()).is_dir())
}

/// The C compiler for the target, if it really can compile for it: not every clang can.
fn usable_clang() -> Option<OsString> {
    let clang = env::var_os(COMPILER_VARIABLE).unwrap_or_else(|| "clang".into());
    let mut probe = Command::new(&clang)
        .args([
            "--target=wasm32-unknown-unknown",
            "-x",
            "c",
            "-c",
            "-",
            "-o",
        ])
        .arg(if cfg!(windows) { "NUL" } else { "/dev/null" })
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    // The compiler that dies before reading fails by its exit code below.
    let _ = probe
        .stdin
        .take()?
        .write_all(b"int probe(void) { return 0; }\n");
    probe
        .wait()
        .is_ok_and(|status| status.success())
        .then_some(clang)
}

/// Asks rustup for the target.
fn from_rustup(clang: OsString) -> Result<Choice, String> {
    if !succeeds(Command::new("rustup").arg("--version")) {
        let why = format!(
            "the active Rust has no {TARGET} and there is no rustup to add it; on Debian set \
             POINTDOWN_WASM_TOOLCHAIN=debian"
        );
        return Ok(Choice::None(why));
    }
    say(&format!(
        "browser toolchain: installing by `rustup target add {TARGET}`"
    ));
    run(Command::new("rustup").args(["target", "add", TARGET]))?;
    Ok(Choice::Ready(Toolchain::active(clang)))
}
