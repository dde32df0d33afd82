//! The Swift side: with a toolchain its tests; without one what can be proven all the same: that the
//! header is C, that every function of it is in the library, and that the Swift is Swift by its
//! grammar. That the types fit is only known where the tests run.

use std::fs;
use std::path::Path;
use std::process::Command;

use super::kotlin::snippets;
use super::{Ground, empty, python};
use crate::process::{named_error, output, run, succeeds};
use crate::report::{Done, Report};

pub(super) fn test(ground: &Ground, report: &mut Report) -> Result<Done, String> {
    let home = ground.home.join("swift");
    if succeeds(Command::new("swift").arg("--version")) {
        run(Command::new("bash").arg("test.sh").current_dir(&home))?;
        return Ok(Done::Ran(Some("tests passed".to_owned())));
    }
    let generated = ground.generate("swift")?;
    let linked = link(ground, &generated)?;
    let said = format!("{linked} symbols linked from C");
    report.skip(
        "swift tests",
        "no Swift toolchain is here; they were not compiled",
    );
    let venv = match python::environment(ground)? {
        Ok(venv) => venv,
        Err(why) => {
            report.skip("swift lint", &why);
            return Ok(Done::Ran(Some(said)));
        }
    };
    let folder = ground.work.join("generated/swift-guide");
    empty(&folder)?;
    let page = home.join("README.md");
    let text = fs::read_to_string(&page).map_err(|e| named_error("read", &page, &e))?;
    let guide = folder.join("Guide.swift");
    fs::write(&guide, snippets(&text, "swift")).map_err(|e| named_error("write", &guide, &e))?;
    let mut lint = Command::new(venv.join("python"));
    lint.arg(home.join("lint.py"));
    lint.args([
        &generated,
        &home.join("Sources"),
        &home.join("Tests"),
        &folder,
    ]);
    lint.arg(home.join("Package.swift"));
    let linted = output(&mut lint)?;
    Ok(Done::Ran(Some(format!("{said}, {}", linted.trim()))))
}

/// Compiles the header as C with every warning an error, and links and runs a program that holds the
/// address of every function in it. How many there are.
fn link(ground: &Ground, generated: &Path) -> Result<usize, String> {
    let header = generated.join("PointdownFFI.h");
    let text = fs::read_to_string(&header).map_err(|e| named_error("read", &header, &e))?;
    let functions = functions(&text);
    if functions.is_empty() {
        return Err(format!("{} declares no function", header.display()));
    }
    let source = generated.join("link.c");
    let pointers: Vec<String> = functions
        .iter()
        .map(|name| format!("    (function){name},\n"))
        .collect();
    let program = format!(
        "#include \"PointdownFFI.h\"\ntypedef void (*function)(void);\n\
         static const function all[] = {{\n{}}};\n\
         int main(void) {{\n    unsigned long n = sizeof all / sizeof *all;\n    \
         while (n--) if (!all[n]) return 1;\n    return 0;\n}}\n",
        pointers.concat()
    );
    fs::write(&source, program).map_err(|e| named_error("write", &source, &e))?;
    let program = generated.join("link");
    let mut cc = Command::new(std::env::var_os("CC").unwrap_or_else(|| "cc".into()));
    cc.args([
        "-std=c11",
        "-Wall",
        "-Werror",
        "-Wno-cast-function-type",
        // Hints for Swift, which only clang knows.
        "-D_Nullable=",
        "-D_Nonnull=",
        "-o",
    ])
    .arg(&program);
    cc.arg(&source)
        .arg(format!("-L{}", ground.built.display()))
        .arg("-lpointdown_native");
    run(&mut cc)?;
    run(Command::new(&program).env("LD_LIBRARY_PATH", &ground.built))?;
    Ok(functions.len())
}

/// The names of the functions that a generated header declares.
fn functions(header: &str) -> Vec<&str> {
    let mut names = Vec::new();
    for line in header
        .lines()
        .filter(|line| !line.starts_with([' ', '#', '/', '*']))
    {
        let Some((before, _)) = line.split_once('(') else {
            continue;
        };
        let name = before.rsplit([' ', '*']).next().unwrap_or_default();
        if name.starts_with("ffi_") || name.starts_with("uniffi_") {
            names.push(name);
        }
    }
    names.sort_unstable();
    names.dedup();
    names
}

#[cfg(test)]
mod tests {
    use super::functions;

    #[test]
    fn declared_functions_are_found_and_types_are_not() {
        let header = "typedef void (*Callback)(uint64_t);\n#ifndef A\n\
                      uint64_t uniffi_a_fn_new(RustCallStatus *_Nonnull out\n);\n\
                      void*_Nonnull ffi_a_alloc(void\n);\n";
        assert_eq!(functions(header), ["ffi_a_alloc", "uniffi_a_fn_new"]);
    }
}
