//! Certificates and labels from the command line, on the demo record.
#![allow(clippy::unwrap_used)]

mod common;

use common::halfdrop;
use std::path::Path;

/// 2026-03-12, some day.
const FIRST_DAY: i64 = 1_773_306_000_000;

/// The demo record in a folder of its own.
fn demo(folder: &Path) -> String {
    let place = folder.join("demo.record").display().to_string();
    let first_day = notebook::Moment::new(FIRST_DAY, 60);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    drop(
        runtime
            .block_on(store::build_demo(&place, 1, first_day))
            .unwrap(),
    );
    place
}

#[test]
fn a_certificate_is_printed_checked_and_found_out_when_it_is_altered() {
    let folder = tempfile::tempdir().unwrap();
    let record = demo(folder.path());
    let file = folder.path().join("C-0001.pdf");
    let pdf = file.to_str().unwrap();
    let printed = halfdrop(&[
        "certificate",
        "print",
        "C-0001",
        "--record",
        &record,
        "-o",
        pdf,
    ]);
    assert_eq!(printed.status, 0, "{}", printed.err);
    let again = folder.path().join("again.pdf");
    halfdrop(&[
        "certificate",
        "print",
        "certificate/C-0001",
        "--record",
        &record,
        "-o",
        again.to_str().unwrap(),
    ]);
    assert_eq!(
        std::fs::read(&file).unwrap(),
        std::fs::read(&again).unwrap()
    );

    let checked = halfdrop(&["certificate", "check", pdf, "--record", &record]);
    assert_eq!(checked.status, 0, "{}{}", checked.out, checked.err);
    assert!(
        checked.out.contains("C-0001: unaltered") && checked.out.contains("It is current"),
        "{}",
        checked.out
    );

    let mut bytes = std::fs::read(&file).unwrap();
    let mark = b"\"certificate\": \"certificate/C-0001\"";
    let at = bytes.windows(mark.len()).position(|w| w == mark).unwrap();
    // The name of the record, a few lines below: one letter.
    let letter = at
        + bytes[at..]
            .windows(12)
            .position(|w| w == b"Pickle works")
            .unwrap();
    bytes[letter] = b'T';
    std::fs::write(&file, &bytes).unwrap();
    let checked = halfdrop(&["certificate", "check", pdf, "--record", &record]);
    assert_eq!(checked.status, 1, "{}{}", checked.out, checked.err);
    assert!(checked.out.contains("ALTERED"), "{}", checked.out);
}

#[test]
fn a_superseded_certificate_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let record = demo(folder.path());
    let pdf = folder.path().join("C-0004.pdf").display().to_string();
    let printed = halfdrop(&[
        "certificate",
        "print",
        "C-0004",
        "--record",
        &record,
        "-o",
        &pdf,
    ]);
    assert!(printed.out.contains("superseded on"), "{}", printed.out);
    let checked = halfdrop(&["certificate", "check", &pdf, "--record", &record]);
    assert_eq!(checked.status, 1);
    assert!(
        checked.out.contains("unaltered") && checked.out.contains("superseded on"),
        "{}",
        checked.out
    );
}

#[test]
fn labels_are_printed_and_bad_wishes_told() {
    let folder = tempfile::tempdir().unwrap();
    let record = demo(folder.path());
    let file = folder.path().join("labels.pdf").display().to_string();
    let with = |more: &[&str]| {
        let mut arguments = vec![
            "label", "print", "T-0117", "T-0123", "--record", &record, "-o", &file,
        ];
        arguments.extend(more);
        halfdrop(&arguments)
    };
    let printed = with(&["--sheet", "--skip", "3", "--copies", "4"]);
    assert_eq!(printed.out, format!("8 labels are printed in {file}.\n"));
    assert!(std::fs::read(&file).unwrap().starts_with(b"%PDF-1.7"));
    assert_eq!(with(&["--sheet", "--skip", "24"]).status, 2);
    assert_eq!(with(&["--copies", "5000"]).status, 2);
    let missing = halfdrop(&["label", "print", "T-9", "--record", &record, "-o", &file]);
    assert!(
        missing.status == 2 && missing.err.contains("solution/T-9 is not in the record"),
        "{}",
        missing.err
    );
    let none = halfdrop(&["certificate", "check", &file, "--record", &record]);
    assert!(
        none.status == 2 && none.err.contains("no certificate data"),
        "{}",
        none.err
    );
}

#[test]
fn a_working_is_printed_as_pdf_and_as_html() {
    let folder = tempfile::tempdir().unwrap();
    let record = demo(folder.path());
    for (name, begins) in [
        ("D-0001.pdf", "%PDF-1.7"),
        ("D-0001.html", "<!DOCTYPE html>"),
    ] {
        let file = folder.path().join(name);
        let path = file.to_str().unwrap();
        let printed = halfdrop(&[
            "working", "print", "D-0001", "--record", &record, "-o", path,
        ]);
        assert_eq!(printed.status, 0, "{}", printed.err);
        let bytes = std::fs::read(&file).unwrap();
        assert!(bytes.starts_with(begins.as_bytes()), "{name}");
    }
    let html = std::fs::read_to_string(folder.path().join("D-0001.html")).unwrap();
    // The corrected reading, the run set aside, the steps typeset; nothing is loaded from anywhere.
    for words in ["22.57 mL", "is set aside", "<math", "K-771/A", "0.09964"] {
        assert!(html.contains(words), "{words}");
    }
    assert!(!html.contains("src=") && !html.contains("href=\"http"));
    for (name, file, says) in [
        ("D-0001", "working.txt", "ends in .pdf or .html"),
        ("D-9999", "working.pdf", "D-9999 is not in the record"),
    ] {
        let file = folder.path().join(file);
        let path = file.to_str().unwrap();
        let refused = halfdrop(&["working", "print", name, "--record", &record, "-o", path]);
        assert_eq!(refused.status, 2, "{}", refused.err);
        assert!(refused.err.contains(says), "{}", refused.err);
        assert!(!file.exists());
    }
}
