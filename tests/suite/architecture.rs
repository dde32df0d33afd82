//! The shape of the core: each layer uses only those above it, the three siblings never meet, and
//! files fit in a head.

use std::fs;
use std::path::{Path, PathBuf};

/// Each layer of the core with those that it may use.
const LAYERS: [(&str, &[&str]); 9] = [
    ("trade", &[]),
    ("record", &["trade"]),
    ("book", &["trade", "record"]),
    ("files", &["trade", "record", "book"]),
    ("paper", &["trade", "record", "book"]),
    ("ledger", &["trade", "record", "book"]),
    ("store", &["trade", "record", "book"]),
    ("sync", &["trade", "record", "book"]),
    (
        "farm",
        &[
            "trade", "record", "book", "files", "paper", "ledger", "store", "sync",
        ],
    ),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the workspace")
        .to_path_buf()
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display())) {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            // The fuzzer has a build folder of its own beside its sources.
            if !path.ends_with("fuzz/target") {
                all.extend(sources(&path));
            }
        } else if path.extension().is_some_and(|e| e == "rs") {
            all.push(path);
        }
    }
    all
}

#[test]
fn layers_use_only_what_stands_above_them() {
    let mut wrong = Vec::new();
    for (layer, may) in LAYERS {
        for file in sources(&root().join("core/src").join(layer)) {
            let text = fs::read_to_string(&file).expect("a source file");
            for (other, _) in LAYERS {
                let named = text.contains(&format!("crate::{other}"));
                if named && other != layer && !may.contains(&other) {
                    wrong.push(format!("{} uses {other}", file.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn each_outside_library_is_known_to_one_layer() {
    let mut wrong = Vec::new();
    for (library, layer) in [
        ("maud", "paper"),
        ("qrcodegen", "paper"),
        ("automerge", "ledger"),
        ("csv", "files"),
        ("rusqlite", "store"),
        ("ureq", "farm"),
    ] {
        for file in sources(&root().join("core/src")) {
            let text = fs::read_to_string(&file).expect("a source file");
            let inside = file.starts_with(root().join("core/src").join(layer));
            if !inside && (text.contains(&format!("{library}::"))) {
                wrong.push(format!("{} uses {library}", file.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn only_the_environment_looks_at_the_clock() {
    let mut wrong = Vec::new();
    for file in sources(&root().join("core/src")) {
        let text = fs::read_to_string(&file).expect("a source file");
        let looks = [
            "Utc::now",
            "Local::now",
            "SystemTime::now",
            "getrandom::",
            "thread::sleep",
        ]
        .iter()
        .any(|clock| text.contains(clock));
        if looks && !file.ends_with("farm/env.rs") {
            wrong.push(file);
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_top_level_and_the_files_stay_small() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "core",
        "bindings",
        "sync-server",
        "tests",
        "target",
    ];
    for entry in fs::read_dir(root()).expect("the workspace") {
        let name = entry
            .expect("an entry")
            .file_name()
            .into_string()
            .expect("a plain name");
        assert!(
            name.starts_with('.') || allowed.contains(&name.as_str()),
            "{name} at the top"
        );
    }
    let mut long = Vec::new();
    for folder in ["core", "bindings", "sync-server", "tests"] {
        for file in sources(&root().join(folder)) {
            let lines = fs::read_to_string(&file)
                .expect("a source file")
                .lines()
                .count();
            if lines > 500 {
                long.push(format!("{}: {lines} lines", file.display()));
            }
        }
    }
    assert!(long.is_empty(), "{long:#?}");
}
