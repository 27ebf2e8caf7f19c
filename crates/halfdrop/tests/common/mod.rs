//! Runs the program as a person does.
#![allow(dead_code, unreachable_pub)] // Each test file uses its part.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What a run of the program left behind.
#[derive(Debug)]
pub struct Outcome {
    /// Exit status.
    pub status: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// The folder of the workspace.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Runs the program in the folder of the workspace with something on standard input.
pub fn halfdrop_with(arguments: &[&str], stdin: &[u8]) -> Outcome {
    let mut child = Command::new(env!("CARGO_BIN_EXE_halfdrop"))
        .args(arguments)
        .current_dir(root())
        .env_remove("NO_COLOR")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = child.stdin.take().unwrap();
    let input = stdin.to_vec();
    // The program may stop reading before the end.
    let writer = std::thread::spawn(move || drop(pipe.write_all(&input)));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    let outcome = Outcome {
        status: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    };
    assert!(!outcome.err.contains("panicked"), "{}", outcome.err);
    outcome
}

/// Runs the program in the folder of the workspace.
pub fn halfdrop(arguments: &[&str]) -> Outcome {
    halfdrop_with(arguments, b"")
}

/// Evaluates a sheet that is given as text.
pub fn evaluate_text(sheet: &str) -> Outcome {
    halfdrop_with(&["evaluate", "-"], sheet.as_bytes())
}

/// The text of an example.
pub fn example(name: &str) -> String {
    std::fs::read_to_string(root().join("examples").join(format!("{name}.toml"))).unwrap()
}

/// A text with one part replaced, which must be there.
pub fn replaced(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1)
}

/// A new empty folder for one test.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}
