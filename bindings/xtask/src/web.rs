//! The phone app: the core compiled for the browser, its glue, and the folder that the server
//! carries inside its program.

use std::path::PathBuf;

use crate::debian::TARGET;
use crate::process::{cargo, root, run, say, shown, target_dir};
use crate::report::Done;
use crate::wasm::{self, Choice, Toolchain};

/// What the name of the crate becomes in file names.
const CORE: &str = "pointdown_web.wasm";

/// `cargo xtask web`: here a skip is a failure.
pub(crate) fn command() -> Result<(), String> {
    match build()? {
        Done::Ran(_) => Ok(()),
        Done::Skipped(why) => Err(format!("the phone app cannot be built here: {why}")),
    }
}

/// Builds the app into `phone` within cargo's folder, where the server's build looks for it.
pub(crate) fn build() -> Result<Done, String> {
    let toolchain = match wasm::choose()? {
        Choice::Ready(toolchain) => toolchain,
        Choice::None(why) => return Ok(Done::Skipped(why)),
    };
    let core = compile(&toolchain)?;
    // A workspace of its own, so that no ordinary build compiles it.
    let manifest = root().join("bindings/web/pack/Cargo.toml");
    let mut command = cargo(&["run", "--release", "--locked", "--quiet", "--manifest-path"]);
    command.arg(manifest);
    command.arg("--target-dir").arg(target_dir().join("pack"));
    command.arg("--").arg(core);
    command.arg(root().join("bindings/web/app"));
    command.arg(target_dir().join("phone"));
    say("phone app: glue, versioned names, compressed forms");
    run(&mut command)?;
    Ok(Done::Ran(None))
}

/// Compiles the core small, which takes a few minutes the first time.
fn compile(toolchain: &Toolchain) -> Result<PathBuf, String> {
    let mut command = toolchain.cargo(&["build", "--locked", "--profile", "browser"])?;
    command.args(["--package", "pointdown-web"]);
    say(&format!("  {}", shown(&command)));
    run(&mut command)?;
    let folder = toolchain.folder()?;
    Ok(folder.join(TARGET).join("browser").join(CORE))
}
