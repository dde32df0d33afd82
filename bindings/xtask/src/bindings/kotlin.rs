//! The Kotlin side, compiled with warnings as errors and run on the JVM.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::{Ground, empty};
use crate::process::{named_error, output, run, run_watched, say, shown, succeeds};
use crate::report::{Done, Report};

/// The compiler, by its package on the npm registry; it brings coroutines and the test library.
const COMPILER: &str = "kotlin-compiler@2.4.20";

/// Debian's packages with the jars that the tests run on.
const DEBS: [&str; 5] = [
    "junit4",
    "libgoogle-gson-java",
    "libhamcrest-java",
    "libjna-java",
    "libjna-jni",
];

/// Jars of the compiler's package, then of Debian's.
const OF_COMPILER: [&str; 3] = [
    "kotlinx-coroutines-core-jvm.jar",
    "kotlin-test.jar",
    "kotlin-test-junit.jar",
];
const OF_DEBIAN: [&str; 4] = ["gson.jar", "hamcrest.jar", "jna.jar", "junit4.jar"];

/// Compiles and runs every class whose file ends in `Test.kt`.
pub(super) fn test(ground: &Ground, _: &mut Report) -> Result<Done, String> {
    let tools = match tools(ground)? {
        Ok(tools) => tools,
        Err(why) => return Ok(Done::Skipped(why)),
    };
    let generated = ground.generate("kotlin")?;
    let guide = guide(ground)?;
    let sources = ground.home.join("kotlin/src");
    let jar = ground.work.join("kotlin.jar");
    let mut compile = Command::new("bash");
    compile.arg(tools.compiler.join("bin/kotlinc"));
    compile
        .args(["-Werror", "-jvm-target", "17", "-classpath"])
        .arg(tools.class_path());
    compile
        .arg("-d")
        .arg(&jar)
        .args([&generated, &sources, &guide]);
    say(&format!("  {}", shown(&compile)));
    run(&mut compile)?;
    let mut java = Command::new("java");
    // A heap that neither grows nor shrinks: what the test for leaks measures is the library's.
    java.args(["-ea", "-Xms128m", "-Xmx128m", "-XX:+AlwaysPreTouch"]);
    java.arg(format!("-Djna.library.path={}", ground.built.display()));
    let all = [
        tools.class_path(),
        tools
            .compiler
            .join("lib/kotlin-stdlib.jar")
            .display()
            .to_string(),
        jar.display().to_string(),
    ];
    java.args(["-classpath", &all.join(":"), "org.junit.runner.JUnitCore"]);
    let mut classes = test_classes(&sources.join("test/kotlin"))?;
    classes.sort();
    java.args(&classes);
    java.env("POINTDOWN_SERVER", ground.server());
    java.env("POINTDOWN_VECTORS", ground.home.join("vectors"));
    let mut passed = None;
    run_watched(&mut java, |line| {
        // The closing line, such as `OK (12 tests)`.
        let count = line
            .strip_prefix("OK (")
            .and_then(|line| line.split(' ').next());
        passed = count.and_then(|n| n.parse::<u32>().ok()).or(passed);
    })?;
    match passed {
        Some(n @ 1..) => Ok(Done::Ran(Some(format!("{n} passed")))),
        _ => Err("not a single Kotlin test ran".to_owned()),
    }
}

struct Tools {
    compiler: PathBuf,
    jars: PathBuf,
    /// A folder with JNA's own library where JNA looks for it.
    jna: PathBuf,
}

impl Tools {
    fn class_path(&self) -> String {
        let compiler = OF_COMPILER.map(|jar| self.compiler.join("lib").join(jar));
        let debian = OF_DEBIAN.map(|jar| self.jars.join(jar));
        let all = compiler.iter().chain(&debian).chain([&self.jna]);
        let all: Vec<String> = all.map(|jar| jar.display().to_string()).collect();
        all.join(":")
    }
}

/// Fetches what is missing; why not, where it cannot be had.
fn tools(ground: &Ground) -> Result<Result<Tools, String>, String> {
    let commands = [
        ("java", "-version", "a Java 17 or later"),
        ("npm", "--version", "npm, which brings the Kotlin compiler"),
        (
            "apt-get",
            "--version",
            "apt-get, which brings JNA and JUnit",
        ),
    ];
    for (command, word, what) in commands {
        if !succeeds(Command::new(command).arg(word)) {
            return Ok(Err(format!("{what} is not here")));
        }
    }
    let folder = ground.work.join("kotlin-tools");
    let stamp = folder.join("made-of");
    let wanted = format!("{COMPILER} {}", DEBS.join(" "));
    if !fs::read_to_string(&stamp).is_ok_and(|had| had == wanted) {
        empty(&folder)?;
        if let Err(why) = fetch(&folder) {
            return Ok(Err(format!("{why}; is there a network?")));
        }
        fs::write(&stamp, wanted).map_err(|e| named_error("write", &stamp, &e))?;
    }
    Ok(Ok(Tools {
        compiler: folder.join("package"),
        jars: folder.join("debian/usr/share/java"),
        jna: folder.join("jna"),
    }))
}

fn fetch(folder: &Path) -> Result<(), String> {
    say(&format!(
        "  fetching {COMPILER} (about 90 MB) and {}",
        DEBS.join(", ")
    ));
    let mut pack = Command::new("npm");
    let name = output(
        pack.args(["pack", "--silent", COMPILER])
            .current_dir(folder),
    )?;
    run(Command::new("tar")
        .arg("xzf")
        .arg(name.trim())
        .current_dir(folder))?;
    fs::remove_file(folder.join(name.trim())).map_err(|e| named_error("remove", folder, &e))?;
    let mut download = Command::new("apt-get");
    download.args(["-qq", "-o", "APT::Sandbox::User=root", "download"]);
    if run(download.args(DEBS).current_dir(folder)).is_err() {
        // The lists may be missing or old.
        run(Command::new("apt-get").args(["-qq", "update"]))?;
        run(&mut download)?;
    }
    for entry in fs::read_dir(folder)
        .map_err(|e| named_error("read", folder, &e))?
        .flatten()
    {
        let file = entry.path();
        if file.extension().is_some_and(|end| end == "deb") {
            run(Command::new("dpkg")
                .arg("-x")
                .arg(&file)
                .arg(folder.join("debian")))?;
        }
    }
    place_jna(folder)
}

/// Debian's JNA looks for its library in the system's folders, where nothing is installed, and then on
/// the class path.
fn place_jna(folder: &Path) -> Result<(), String> {
    let library = folder.join("debian/usr/lib");
    let found = fs::read_dir(&library)
        .map_err(|e| named_error("read", &library, &e))?
        .flatten()
        .map(|entry| entry.path().join("jni/libjnidispatch.system.so"))
        .find(|file| file.is_file())
        .ok_or("Debian's JNA has no library for this machine")?;
    let machine = std::env::consts::ARCH.replace('_', "-");
    let place = folder.join(format!("jna/com/sun/jna/linux-{machine}"));
    empty(&place)?;
    let place = place.join("libjnidispatch.so");
    fs::copy(&found, &place).map_err(|e| named_error("copy", &found, &e))?;
    Ok(())
}

/// The guide's snippets as a file of their own.
fn guide(ground: &Ground) -> Result<PathBuf, String> {
    let page = ground.home.join("kotlin/README.md");
    let text = fs::read_to_string(&page).map_err(|e| named_error("read", &page, &e))?;
    let folder = ground.work.join("generated/kotlin-guide");
    empty(&folder)?;
    let file = folder.join("Guide.kt");
    let code = snippets(&text, "kotlin");
    if code.is_empty() {
        return Err(format!("{} has no snippet", page.display()));
    }
    fs::write(&file, code).map_err(|e| named_error("write", &file, &e))?;
    Ok(folder)
}

/// Every block of a language, one after the other.
pub(super) fn snippets(page: &str, language: &str) -> String {
    let mut inside = false;
    let mut code = String::new();
    for line in page.lines() {
        match line.trim_end() {
            "```" => inside = false,
            fence if fence.strip_prefix("```") == Some(language) => inside = true,
            line if inside => {
                code += line;
                code.push('\n');
            }
            _ => {}
        }
    }
    code
}

fn test_classes(folder: &Path) -> Result<Vec<String>, String> {
    let package = folder.join("pointdown");
    let entries = fs::read_dir(&package).map_err(|e| named_error("read", &package, &e))?;
    let names = entries
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok());
    let classes = names.filter_map(|name| Some(name.strip_suffix("Test.kt")?.to_owned()));
    Ok(classes
        .map(|class| format!("pointdown.{class}Test"))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::snippets;

    #[test]
    fn only_the_blocks_of_the_language_are_taken() {
        let page =
            "# A\n```kotlin\nval a = 1\n```\nwords\n```sh\nls\n```\n```kotlin\nval b = 2\n```\n";
        assert_eq!(snippets(page, "kotlin"), "val a = 1\nval b = 2\n");
    }
}
