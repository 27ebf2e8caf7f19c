//! One payload of every version of every kind that was ever written is read for ever.
//!
//! `RENEW=1 cargo test -p notebook --test golden_payloads` adds files that are missing, from the demo. A file is never
//! changed: a new form is a new version with a new file.
#![allow(clippy::unwrap_used)]

use notebook::demo::script;
use notebook::{Ledger, Payload, canonical, upcast};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden")
}

fn file(kind: &str, version: u32) -> PathBuf {
    folder().join(format!("{kind}.v{version}.json"))
}

fn of(payload: &Payload) -> Value {
    serde_json::to_value(payload).unwrap()["payload"].take()
}

#[test]
fn every_version_of_every_kind_is_read() {
    if std::env::var("RENEW").is_ok() {
        renew();
    }
    for (kind, newest, _) in Payload::KINDS {
        for version in 1..=*newest {
            let path = file(kind, version);
            let text = std::fs::read_to_string(&path)
                .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            let value: Value = serde_json::from_str(&text).unwrap();
            let payload = upcast::read(kind, version, value.clone())
                .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            assert_eq!(payload.kind(), *kind);
            if version == *newest {
                // Written again it is the same: nothing is lost, nothing is added.
                assert_eq!(canonical(&of(&payload)), canonical(&value), "{kind}");
            }
        }
    }
}

#[test]
fn no_file_is_left_over() {
    for entry in std::fs::read_dir(folder()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let known = Payload::KINDS
            .iter()
            .any(|(kind, newest, _)| (1..=*newest).any(|v| name == format!("{kind}.v{v}.json")));
        assert!(known, "{name}");
    }
}

fn renew() {
    let mut ledger = Ledger::default();
    for step in script(1, "2026-03-09T08:00:00+01:00".parse().unwrap()).unwrap() {
        ledger.submit(&step.stamp, &step.command).unwrap();
    }
    for event in ledger.events() {
        let path = file(event.payload.kind(), event.payload.version());
        if !path.exists() {
            let text = serde_json::to_string_pretty(&of(&event.payload)).unwrap();
            std::fs::write(path, text + "\n").unwrap();
        }
    }
}
