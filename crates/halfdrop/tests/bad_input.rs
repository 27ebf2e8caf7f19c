//! Bad input of every kind ends with status 2 and a message that says what is wrong; never in a panic.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Outcome, evaluate_text, example, folder, halfdrop, halfdrop_with, replaced};
use std::fmt::Write;

/// Sheets that cannot be used: what was done to a good one, and a part of the message.
fn spoiled() -> Vec<(&'static str, String, &'static str)> {
    let good = example("base-by-phthalate");
    let spoil = |from: &str, to: &str| replaced(&good, from, to);
    let runs = good.find("[[run]]").unwrap();
    let second_run = runs + 1 + good[runs + 1..].find("[[run]]").unwrap();
    vec![
        ("empty", String::new(), "the sheet is empty"),
        ("blanks only", "  \n\n".into(), "the sheet is empty"),
        ("prose", "Titrated on Monday, looked fine.".into(), "line 1"),
        (
            "unfinished",
            good[..runs].replace("mol/L\"", "mol/L"),
            "line",
        ),
        (
            "not a number",
            spoil("24.91 mL", "NaN mL"),
            "expected a number",
        ),
        ("a bare NaN", spoil("\"24.91 mL\"", "nan"), "24.53 mL"),
        (
            "infinite",
            spoil("24.91 mL", "1e999 mL"),
            "not a usable number",
        ),
        (
            "negative reading",
            spoil("0.06 mL", "-0.06 mL"),
            "run[2].initial",
        ),
        (
            "final below initial",
            spoil("24.91 mL", "0.01 mL"),
            "run[2].final",
        ),
        ("unit missing", spoil("24.91 mL", "24.91"), "has no unit"),
        (
            "quotes missing",
            spoil("\"24.91 mL\"", "24.91"),
            "in quotes",
        ),
        (
            "unit of another kind",
            spoil("24.91 mL", "24.91 g"),
            "24.91",
        ),
        ("unknown unit", spoil("24.91 mL", "24.91 drops"), "drops"),
        (
            "unknown reagent",
            spoil("\"potassium hydrogen phthalate\"", "\"unobtainium\""),
            "unobtainium",
        ),
        (
            "impossible reaction",
            format!("reaction = \"NaOH -> KCl\"\n{good}"),
            "reaction",
        ),
        ("zero runs", good[..runs].to_string(), "no runs"),
        (
            "rough runs only",
            good[..second_run].to_string(),
            "no run is left",
        ),
        ("zero mass", spoil("0.5112 g", "0.0000 g"), "run[2]"),
        ("titre of zero", spoil("24.91 mL", "0.06 mL"), "run"),
        ("beyond the scale", spoil("24.91 mL", "74.91 mL"), "run[2]"),
        ("unknown entry", spoil("bottle =", "bottel ="), "bottel"),
        (
            "unknown glass",
            spoil("burette 50 mL A", "burette 51 mL A"),
            "burette 50 mL A",
        ),
        (
            "unknown balance",
            spoil("four-place balance", "kitchen scales"),
            "kitchen scales",
        ),
        (
            "unknown rules",
            spoil("\"pharmacopoeia\"", "\"pharma\""),
            "teaching",
        ),
        (
            "missing rules file",
            spoil("profile = \"pharmacopoeia\"", "file = \"nowhere.toml\""),
            "nowhere.toml",
        ),
        (
            "missing known sheet",
            replaced(
                &example("base-by-acid"),
                "concentration = { value = \"",
                "sheet = \"nowhere.toml\"\n#",
            ),
            "nowhere.toml",
        ),
        ("purity above one", spoil("99.97 %", "199.97 %"), "purity"),
        ("negative uncertainty", spoil("0.03 %", "-0.03 %"), "purity"),
        (
            "impossible probability",
            format!("{good}\n[coverage]\nprobability = 95\n"),
            "coverage.probability",
        ),
        (
            "two runs of one name",
            spoil("time = \"09:44\"", "name = \"1\""),
            "two runs are called",
        ),
        (
            "temperature of an oven",
            spoil("22.4 degC", "180 degC"),
            "conditions.temperature",
        ),
    ]
}

fn refused(name: &str, outcome: &Outcome) {
    assert_eq!(outcome.status, 2, "{name}: {} {}", outcome.out, outcome.err);
    assert_eq!(outcome.out, "", "{name}");
    assert!(
        outcome.err.starts_with("halfdrop: "),
        "{name}: {}",
        outcome.err
    );
}

#[test]
fn a_bad_sheet_is_refused_with_its_reason() {
    let mut messages = String::new();
    for (name, sheet, part) in spoiled() {
        let outcome = evaluate_text(&sheet);
        refused(name, &outcome);
        assert!(outcome.err.contains(part), "{name}: {}", outcome.err);
        writeln!(
            messages,
            "{name}\n    {}",
            outcome.err.trim().replace('\n', "\n    ")
        )
        .unwrap();
    }
    insta::assert_snapshot!("bad-input", messages);
}

#[test]
fn a_bad_file_is_refused_with_its_reason() {
    let folder = folder("bad-files");
    let path = |name: &str| folder.join(name).to_str().unwrap().to_string();
    let refused_file = |name: &str, part: &str| {
        let outcome = halfdrop(&["evaluate", &path(name)]);
        refused(name, &outcome);
        assert!(outcome.err.contains(&path(name)), "{}", outcome.err);
        assert!(outcome.err.contains(part), "{}", outcome.err);
    };
    refused_file("missing.toml", "there is no such file");
    std::fs::create_dir(folder.join("folder")).unwrap();
    refused_file("folder", "this is a folder");
    std::fs::write(folder.join("picture.png"), b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR").unwrap();
    refused_file("picture.png", "not a text file");
    std::fs::write(folder.join("latin.toml"), b"title = \"S\xe4ure\"\n").unwrap();
    refused_file("latin.toml", "line 1: the text is not UTF-8");
    // Refused by its length alone: the file has 100 MB and none of them on disk.
    let large = std::fs::File::create(folder.join("large.toml")).unwrap();
    large.set_len(100_000_000).unwrap();
    refused_file(
        "large.toml",
        "95 MiB long; a bench sheet is a text file of at most 4 MiB",
    );
}

#[test]
fn a_long_stream_is_not_read_to_its_end() {
    let outcome = halfdrop_with(&["evaluate", "-"], &vec![b'#'; 5 * 1024 * 1024]);
    refused("stream", &outcome);
    assert!(outcome.err.contains("standard input"), "{}", outcome.err);
    assert!(outcome.err.contains("at most 4 MiB"), "{}", outcome.err);
}

#[test]
fn sheets_that_rest_on_one_another_in_a_ring_are_refused() {
    let folder = folder("ring");
    let certificate = "concentration = { value";
    let resting_on = |other: &str| {
        replaced(
            &example("base-by-acid"),
            certificate,
            &format!("sheet = \"{other}\"\n# {{ value"),
        )
    };
    std::fs::write(folder.join("a.toml"), resting_on("b.toml")).unwrap();
    std::fs::write(folder.join("b.toml"), resting_on("./a.toml")).unwrap();
    let outcome = halfdrop(&["evaluate", folder.join("a.toml").to_str().unwrap()]);
    refused("ring", &outcome);
    assert!(
        outcome.err.contains("rests on this sheet itself"),
        "{}",
        outcome.err
    );

    for i in 0..10 {
        std::fs::write(
            folder.join(format!("{i}.toml")),
            resting_on(&format!("{}.toml", i + 1)),
        )
        .unwrap();
    }
    let outcome = halfdrop(&["evaluate", folder.join("0.toml").to_str().unwrap()]);
    refused("long chain", &outcome);
    assert!(
        outcome.err.contains("more than 8 sheets"),
        "{}",
        outcome.err
    );
}

#[test]
fn an_error_in_a_parent_names_the_parent() {
    let folder = folder("parent");
    let child = replaced(
        &example("base-by-acid"),
        "concentration = { value",
        "sheet = \"acid.toml\"\n# { value",
    );
    std::fs::write(folder.join("base.toml"), child).unwrap();
    std::fs::write(
        folder.join("acid.toml"),
        replaced(&example("acid"), "25.22 mL", "25.22"),
    )
    .unwrap();
    let outcome = halfdrop(&["evaluate", folder.join("base.toml").to_str().unwrap()]);
    refused("parent", &outcome);
    assert!(outcome.err.contains("acid.toml: line"), "{}", outcome.err);
}

#[test]
fn senseless_options_are_refused() {
    let sheet = "examples/single-run.toml";
    for arguments in [
        &["evaluate", sheet, "--trials", "10"][..],
        &["evaluate", sheet, "--trials", "999999999999"],
        &["evaluate", sheet, "--trials", "-1"],
        &["evaluate", sheet, "--json", "--working"],
        &["evaluate"],
        &["evaluate", sheet, "--nonsense"],
        &["nonsense"],
        &["serve", "--port", "70000"],
    ] {
        let outcome = halfdrop(arguments);
        assert_eq!(outcome.status, 2, "{arguments:?}: {}", outcome.err);
    }
}

#[test]
fn text_that_would_steer_a_terminal_is_disarmed() {
    let sheet = replaced(
        &example("base-by-phthalate"),
        "Base 0.1 mol/L",
        "Base \\u001B[2J\\u202E0.1 mol/L",
    );
    let outcome = evaluate_text(&sheet);
    assert_eq!(outcome.status, 0, "{}", outcome.err);
    assert!(!outcome.out.contains(['\u{1b}', '\u{202e}']));
    let bad = replaced(&sheet, "24.91 mL", "24.91 \\u001B[2J");
    assert!(!evaluate_text(&bad).err.contains('\u{1b}'));
}
