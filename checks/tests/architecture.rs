//! The arrows of ARCHITECTURE.md: which crate may know which, and what the calculation crates must not touch.
//!
//! Source: the table in ARCHITECTURE.md, "The map"; both are to be changed together.
#![allow(clippy::unwrap_used)]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What each crate may depend on, of our own crates.
const ARROWS: [(&str, &[&str]); 10] = [
    ("metrology", &[]),
    ("chemistry", &["metrology"]),
    ("volumetry", &["metrology"]),
    ("titrimetry", &["metrology", "chemistry", "volumetry"]),
    ("report", &["metrology", "titrimetry"]),
    ("notebook", &["metrology", "titrimetry"]),
    ("store", &["metrology", "titrimetry", "notebook"]),
    (
        "certificate",
        &["metrology", "chemistry", "titrimetry", "report", "notebook"],
    ),
    (
        "server",
        &[
            "metrology",
            "chemistry",
            "volumetry",
            "titrimetry",
            "report",
            "notebook",
            "store",
            "certificate",
        ],
    ),
    (
        "halfdrop",
        &[
            "metrology",
            "chemistry",
            "volumetry",
            "titrimetry",
            "report",
            "notebook",
            "store",
            "certificate",
            "server",
        ],
    ),
];

/// Crates for tests and measurements; they may know all, and nobody may know them.
const BESIDE: [&str; 2] = ["checks", "benches"];

/// The crates that are functions of their arguments.
const PURE: [&str; 6] = [
    "metrology",
    "chemistry",
    "volumetry",
    "titrimetry",
    "report",
    "notebook",
];

/// Ways to a file, a clock, a network, a process, the environment.
const OUTSIDE: [&str; 8] = [
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "std::time",
    "std::io",
    "SystemTime",
    "File::",
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn packages() -> Vec<Value> {
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--no-deps",
            "--format-version",
            "1",
            "--offline",
        ])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    metadata["packages"].as_array().unwrap().clone()
}

#[test]
fn arrows_point_down_only() {
    let packages = packages();
    let name = |package: &Value| package["name"].as_str().unwrap().to_string();
    let ours: Vec<String> = packages.iter().map(name).collect();
    for package in &packages {
        let this = name(package);
        if BESIDE.contains(&this.as_str()) {
            continue;
        }
        let (_, allowed) = ARROWS
            .iter()
            .find(|(known, _)| *known == this)
            .unwrap_or_else(|| {
                panic!("{this} is not in the table; add it here and in ARCHITECTURE.md")
            });
        for dependency in package["dependencies"].as_array().unwrap() {
            // Tests may use more; what is shipped may not.
            if dependency["kind"] == "dev" {
                continue;
            }
            let other = dependency["name"].as_str().unwrap();
            if ours.iter().any(|o| o == other) {
                assert!(allowed.contains(&other), "{this} must not know {other}");
            }
        }
    }
    for (known, _) in ARROWS {
        assert!(
            ours.iter().any(|o| o == known),
            "{known} is in the table and nowhere else"
        );
    }
}

#[test]
fn every_crate_stands_in_the_map() {
    let map = std::fs::read_to_string(root().join("ARCHITECTURE.md")).unwrap();
    for (name, _) in ARROWS {
        assert!(
            map.contains(&format!("| `{name}` |")),
            "ARCHITECTURE.md lacks {name}"
        );
    }
}

#[test]
fn the_calculation_crates_touch_nothing_outside() {
    let mut seen = 0;
    for name in PURE {
        for file in sources(&root().join("crates").join(name).join("src")) {
            seen += 1;
            let text = std::fs::read_to_string(&file).unwrap();
            // Unit tests stand at the end of a file and may do as they like.
            let shipped = text.split("#[cfg(test)]").next().unwrap();
            for (number, line) in shipped.lines().enumerate() {
                if line.trim_start().starts_with("//") {
                    continue;
                }
                for word in OUTSIDE {
                    assert!(
                        !line.contains(word),
                        "{}:{}: {word}",
                        file.display(),
                        number + 1
                    );
                }
            }
        }
    }
    assert!(seen > 50, "only {seen} files were looked at");
}

#[test]
fn every_file_says_what_it_is_for() {
    for name in PURE.iter().chain(&["store", "halfdrop"]) {
        for file in sources(&root().join("crates").join(name).join("src")) {
            let text = std::fs::read_to_string(&file).unwrap();
            assert!(
                text.starts_with("//!"),
                "{} has no //! on top",
                file.display()
            );
        }
    }
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            files.push(path);
        }
    }
    files
}
