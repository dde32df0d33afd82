//! What the library weighs and what calls cost, as Markdown.

use std::fs;
use std::path::Path;
use std::process::Command;

use super::Ground;
use crate::process::{cargo, named_error, output, run, say, shown, succeeds, target_dir};

/// Builds the library as it is shipped, and measures it and calls into it from Python.
pub(super) fn print(ground: &Ground) -> Result<(), String> {
    // As a shared library alone: a Rust library beside it would silently turn off optimisation at
    // link time.
    let mut build = cargo(&["rustc", "--locked", "--profile", "native"]);
    build.args([
        "--package",
        "pointdown-native",
        "--lib",
        "--crate-type",
        "cdylib",
    ]);
    say(&format!("  {}", shown(&build)));
    run(&mut build)?;
    let library = ground.library();
    let name = library.file_name().ok_or("the library has no name")?;
    let shipped = target_dir().join("native").join(name);
    let mut text = String::from("| target | as built | stripped | gzip -9 |\n|---|---|---|---|\n");
    text += &sizes(ground, &shipped)?;
    text += &calls(ground, &shipped)?;
    crate::process::print(&text);
    Ok(())
}

fn sizes(ground: &Ground, library: &Path) -> Result<String, String> {
    let stripped = ground.work.join("stripped");
    fs::copy(library, &stripped).map_err(|e| named_error("copy", library, &e))?;
    if !succeeds(Command::new("strip").arg("--strip-all").arg(&stripped)) {
        return Err("strip does not work here".to_owned());
    }
    let size = |path: &Path| {
        fs::metadata(path)
            .map(|m| m.len())
            .map_err(|e| named_error("look at", path, &e))
    };
    let (built, bare) = (size(library)?, size(&stripped)?);
    let mut gzip = Command::new("sh");
    gzip.arg("-c")
        .arg("gzip -9 < \"$0\" | wc -c")
        .arg(&stripped);
    let packed: u64 = output(&mut gzip)?
        .trim()
        .parse()
        .map_err(|e| format!("gzip: {e}"))?;
    let mega = |bytes: u64| format!("{:.2} MB", bytes as f64 / 1e6);
    let target = format!("{}-{}", std::env::consts::ARCH, std::env::consts::OS);
    Ok(format!(
        "| {target} | {} | {} | {} |\n\n",
        mega(built),
        mega(bare),
        mega(packed)
    ))
}

fn calls(ground: &Ground, library: &Path) -> Result<String, String> {
    let venv = match super::python::environment(ground)? {
        Ok(venv) => venv,
        Err(why) => return Ok(format!("Calls were not measured: {why}.\n")),
    };
    let generated = ground.generate("python")?;
    let beside = generated.join(library.file_name().unwrap_or_default());
    fs::copy(library, &beside).map_err(|e| named_error("copy", library, &e))?;
    let mut measure = Command::new(venv.join("python"));
    measure
        .arg(ground.home.join("python/costs.py"))
        .env("PYTHONPATH", &generated);
    output(&mut measure)
}
