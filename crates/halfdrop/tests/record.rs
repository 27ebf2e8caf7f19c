//! The record on the command line, from the demo to an export and back.
#![allow(clippy::unwrap_used)]

mod common;

use common::halfdrop;
use std::path::PathBuf;

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("halfdrop-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().into()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn ok(arguments: &[&str]) -> String {
    let outcome = halfdrop(arguments);
    assert_eq!(
        outcome.status, 0,
        "{arguments:?}: {}{}",
        outcome.err, outcome.out
    );
    outcome.out
}

#[test]
fn a_new_record_is_opened_once_and_is_whole() {
    let folder = Folder::new("new-record");
    let file = folder.file("bench.record");
    // What is not there names the command that makes it.
    let missing = halfdrop(&["record", "check", &file]);
    assert_eq!(missing.status, 2, "{}", missing.err);
    assert!(
        missing
            .err
            .contains(&format!("`halfdrop record new {file}`")),
        "{}",
        missing.err
    );
    let made = ok(&["record", "new", &file, "--who", "marsh"]);
    assert!(made.contains("opened by marsh"), "{made}");
    let checked = ok(&["record", "check", &file]);
    assert!(checked.contains("1 events, the chain holds"), "{checked}");
    let again = halfdrop(&["record", "new", &file]);
    assert_eq!(again.status, 2, "{}", again.out);
    assert!(again.err.contains("there is something here already"));
}

#[test]
fn the_demo_is_built_checked_traced_and_exported() {
    let folder = Folder::new("record");
    let file = folder.file("demo.record");
    ok(&[
        "record",
        "demo",
        &file,
        "--begins",
        "2026-03-09T08:00:00+01:00",
    ]);
    let checked = ok(&["record", "check", &file]);
    assert!(checked.contains("the chain holds"), "{checked}");
    let list = ok(&["record", "list", &file]);
    // Five of the demo's days, and seven weeks of a standardization and a check each before them.
    assert_eq!(list.lines().count(), 19, "{list}");
    assert!(
        list.contains("D-0004") && list.contains("approved, not usable"),
        "{list}"
    );
    let certificates = ok(&["record", "list", &file, "--kind", "certificate"]);
    assert!(certificates.contains("superseded"), "{certificates}");
    let trace = ok(&["trace", "certificate/C-0004", "--record", &file]);
    assert!(trace.contains("takes its value from lot/S-0107"), "{trace}");
    let trace = ok(&["trace", "lot/S-0107", "--record", &file]);
    assert!(trace.contains("is stated by certificate/C-0004"), "{trace}");
    ok(&["record", "rebuild", &file]);
    let (export, zip) = (folder.file("export"), folder.file("export.zip"));
    ok(&["record", "export", &file, &export]);
    ok(&["record", "export", &file, &zip]);
    let last = checked
        .lines()
        .find(|l| l.starts_with("last hash"))
        .unwrap();
    for (from, to) in [(&export, "again.record"), (&zip, "again2.record")] {
        ok(&["record", "import", from, &folder.file(to)]);
        assert!(ok(&["record", "check", &folder.file(to)]).contains(last));
    }
    ok(&["record", "backup", &file, &folder.file("backup")]);
    ok(&[
        "record",
        "restore",
        &folder.file("backup"),
        &folder.file("restored.record"),
    ]);
    assert!(ok(&["record", "check", &folder.file("restored.record")]).contains(last));
}

#[test]
fn what_cannot_be_done_is_said_with_what_to_do() {
    let folder = Folder::new("record-wrong");
    let none = folder.file("none.record");
    for (arguments, told) in [
        (vec!["record", "check", &none], "no record here"),
        (
            vec!["record", "check", "Cargo.toml"],
            "no record of halfdrop",
        ),
        (vec!["record", "demo", "Cargo.toml"], "name another place"),
        (
            vec!["trace", "bottle/T-1", "--record", &none],
            "kind of thing",
        ),
        (
            vec!["record", "check", "postgres://127.0.0.1:1/none"],
            "does not answer",
        ),
    ] {
        let outcome = halfdrop(&arguments);
        assert_eq!(outcome.status, 2, "{arguments:?}: {}", outcome.out);
        assert!(outcome.err.contains(told), "{arguments:?}: {}", outcome.err);
    }
}
