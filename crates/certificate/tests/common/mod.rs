//! The demo record in memory, and the certificates and labels of it.
#![allow(dead_code)]

use certificate::{CertificateSheet, Standing};
use notebook::demo::script;
use notebook::{Evaluator, Event, Ledger, Node, Payload};
use std::path::PathBuf;
use std::process::Command;

pub(crate) fn demo() -> Ledger {
    demo_until(|_| false)
}

/// The demo up to before an event of a kind.
pub(crate) fn demo_until(stop: impl Fn(&Payload) -> bool) -> Ledger {
    let first = "2026-03-09T08:00:00+01:00".parse().unwrap();
    let mut ledger = Ledger::default();
    for step in script(1, first).unwrap() {
        if stop(&step.command.payload) {
            break;
        }
        ledger.submit(&step.stamp, &step.command).unwrap();
    }
    ledger
}

pub(crate) fn node(text: &str) -> Node {
    text.parse().unwrap()
}

/// The event that issued a certificate.
pub(crate) fn issued<'a>(ledger: &'a Ledger, name: &str) -> &'a Event {
    let node = node(&format!("certificate/{name}"));
    ledger
        .events()
        .iter()
        .find(|e| e.stream == node && matches!(e.payload, Payload::CertificateIssued(_)))
        .unwrap()
}

pub(crate) fn sheet(ledger: &Ledger, name: &str) -> CertificateSheet {
    let event = issued(ledger, name);
    let Payload::CertificateIssued(payload) = &event.payload else {
        unreachable!()
    };
    let then = ledger.world_as_of(event.number).unwrap();
    let outcome = Evaluator::new(&then)
        .evaluate(&payload.determination)
        .unwrap();
    let standing = Standing::of(ledger.world().certificate(&event.stream).unwrap(), None);
    CertificateSheet::of(&then, event, Some(&outcome), standing).unwrap()
}

/// Writes a file and runs a program of Debian on it; what it says on standard output.
///
/// The programs are installed by `./check`; without them the test fails and says so.
pub(crate) fn tool(program: &str, before: &[&str], pdf: &[u8], after: &[&str]) -> String {
    let unique = format!("{}-{:?}", std::process::id(), std::thread::current().id());
    let file: PathBuf = std::env::temp_dir().join(format!("certificate-test-{unique}.pdf"));
    std::fs::write(&file, pdf).unwrap();
    let ran = Command::new(program)
        .args(before)
        .arg(&file)
        .args(after)
        .output();
    let _ = std::fs::remove_file(&file);
    let ran = ran.unwrap_or_else(|error| {
        panic!("{program} is not installed ({error}); `./check` installs it (Debian: poppler-utils, qpdf)")
    });
    let said = String::from_utf8_lossy(&ran.stdout).into_owned();
    assert!(
        ran.status.success(),
        "{program}: {said}{}",
        String::from_utf8_lossy(&ran.stderr)
    );
    said
}

/// The text of a PDF, every run of white space one blank.
pub(crate) fn text(pdf: &[u8]) -> String {
    tool("pdftotext", &["-raw", "-enc", "UTF-8"], pdf, &["-"])
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}
