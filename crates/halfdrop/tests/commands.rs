//! The commands beside `evaluate`, and how the program behaves in a pipe.
#![allow(clippy::unwrap_used)]

mod common;

use common::{evaluate_text, example, halfdrop, root};
use std::io::Read;
use std::process::{Command, Stdio};

#[test]
fn every_sheet_to_start_from_can_be_evaluated_as_it_is() {
    for kind in ["weighed", "solution", "prepared"] {
        let sheet = halfdrop(&["sheet", "--kind", kind]);
        assert_eq!(sheet.status, 0);
        let outcome = evaluate_text(&sheet.out);
        assert_eq!(outcome.status, 0, "{kind}: {}{}", outcome.err, outcome.out);
    }
    assert_eq!(
        halfdrop(&["sheet"]).out,
        halfdrop(&["sheet", "--kind", "weighed"]).out
    );
}

/// What a comment offers must work when its mark is taken away.
#[test]
fn the_comments_of_the_sheets_can_be_used() {
    let sheet = halfdrop(&["sheet"]).out;
    let mut used = sheet.replace(
        "burette = { catalogue = \"burette 50 mL A\", id = \"number of the burette\" }\n",
        "",
    );
    for line in sheet.lines() {
        let offer = line.strip_prefix("# ").unwrap_or_default();
        let is_entry = offer.starts_with('[')
            || offer.starts_with("    {")
            || offer == "]"
            || offer
                .split_once(" = ")
                .is_some_and(|(key, _)| key.chars().all(|c| c.is_ascii_lowercase() || c == '_'));
        // One of two that exclude each other, a file that is not there, and a run that must count.
        let excluded = [
            "factor = ",
            "file = ",
            "set_aside = ",
            "initial = \"0.00",
            "kind = \"blank\"",
            "final = \"0.05",
        ]
        .iter()
        .any(|start| offer.starts_with(start));
        if is_entry && !excluded && offer != "[[run]]" {
            used = used.replacen(line, offer, 1);
        }
    }
    assert!(
        used.contains("\n[apparatus.burette.calibration]") && used.contains("\nrefill = "),
        "{used}"
    );
    let outcome = evaluate_text(&used);
    assert_ne!(outcome.status, 2, "{}\n{used}", outcome.err);
}

#[test]
fn the_help_tells_the_exit_status() {
    for arguments in [&["--help"][..], &["evaluate", "--help"]] {
        let help = halfdrop(arguments);
        assert_eq!(help.status, 0);
        assert!(help.out.contains("Exit status:"), "{}", help.out);
        assert!(
            help.out
                .contains("1  evaluated, but a rule of the profile is broken")
        );
    }
}

#[test]
fn completions_and_manual_name_the_commands() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let outcome = halfdrop(&["completions", shell]);
        assert_eq!(outcome.status, 0);
        assert!(outcome.out.contains("evaluate"), "{shell}");
    }
    let manual = halfdrop(&["man"]);
    assert!(
        manual.out.starts_with(".ie") || manual.out.contains(".TH halfdrop"),
        "{}",
        manual.out
    );
    assert!(manual.out.contains("Exit status"));
}

#[test]
fn the_sheet_comes_from_standard_input_too() {
    let from_file = halfdrop(&["evaluate", "examples/base-by-phthalate.toml"]);
    assert_eq!(
        evaluate_text(&example("base-by-phthalate")).out,
        from_file.out
    );
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_halfdrop"))
        .args(["evaluate", "examples/base-by-phthalate.toml", "--json"])
        .current_dir(root())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let status = child.wait().unwrap();
    let mut err = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut err)
        .unwrap();
    assert_eq!(err, "");
    assert_eq!(status.code(), Some(0));
}
