//! Every example with its whole output, and the properties that all of them share.
#![allow(clippy::unwrap_used)]

mod common;

use common::{example, folder, halfdrop, replaced};

const EXAMPLES: [(&str, i32); 7] = [
    ("base-by-phthalate", 0),
    ("single-run", 1),
    ("poor-resolution", 1),
    ("drifting", 1),
    ("slip-of-the-pen", 1),
    ("acid", 0),
    ("base-by-acid", 0),
];

#[test]
fn every_example_has_its_reviewed_report() {
    for (name, status) in EXAMPLES {
        let outcome = halfdrop(&["evaluate", &format!("examples/{name}.toml")]);
        insta::assert_snapshot!(name, outcome.out);
        assert_eq!(outcome.status, status, "{name}");
        assert_eq!(outcome.err, "");
        for line in outcome.out.lines() {
            assert!(line.chars().count() <= 100, "{name}: {line}");
            assert!(
                !line.contains('\u{1b}'),
                "{name}: colour without a terminal"
            );
        }
    }
}

#[test]
fn no_example_is_forgotten() {
    let mut files: Vec<String> = std::fs::read_dir(common::root().join("examples"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|file| file.ends_with(".toml"))
        // Assay sheets, which name a method, are tested with the methods.
        .filter(|file| !example(file.trim_end_matches(".toml")).contains("\nmethod = "))
        // Validations are tested with `validate`.
        .filter(|file| !example(file.trim_end_matches(".toml")).contains("\n[comparison]"))
        .collect();
    files.sort();
    let mut known: Vec<String> = EXAMPLES.iter().map(|(n, _)| format!("{n}.toml")).collect();
    known.sort();
    assert_eq!(files, known);
}

#[test]
fn the_working_is_complete() {
    let outcome = halfdrop(&["evaluate", "examples/base-by-acid.toml", "--working"]);
    insta::assert_snapshot!("working-of-base-by-acid", outcome.out);
    for (name, _) in EXAMPLES {
        let outcome = halfdrop(&["evaluate", &format!("examples/{name}.toml"), "--working"]);
        for line in outcome.out.lines() {
            assert!(line.chars().count() <= 100, "{name}: {line}");
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let run = |seed: &str| {
        let path = "examples/base-by-phthalate.toml";
        halfdrop(&[
            "evaluate", path, "--json", "--trials", "50000", "--seed", seed,
        ])
        .out
    };
    assert_eq!(run("7"), run("7"));
    assert_ne!(run("7"), run("8"));
}

/// The certificate that base-by-acid.toml quotes is what acid.toml gives, so both ways of the chain agree.
#[test]
fn the_chain_by_certificate_and_by_sheet_agree() {
    let json = |path: &str| -> serde_json::Value {
        serde_json::from_str(&halfdrop(&["evaluate", path, "--json", "--trials", "0"]).out).unwrap()
    };
    let acid = json("examples/acid.toml");
    let by_certificate = json("examples/base-by-acid.toml");
    let stated = |entry: &str| {
        let text = by_certificate["sheet"]["known"]["concentration"][entry]
            .as_str()
            .unwrap();
        text.strip_suffix(" mol/L").unwrap().parse::<f64>().unwrap()
    };
    // Half of the last place as printed on the certificate.
    let value = acid["result"]["value"].as_f64().unwrap();
    assert!(
        (stated("value") - value).abs() <= 0.5e-5 * (1.0 + 1e-9),
        "{value}"
    );
    let expanded = 2.0 * acid["result"]["standard_uncertainty"].as_f64().unwrap();
    assert!(
        (stated("U") - expanded).abs() <= 0.5e-5 * (1.0 + 1e-9),
        "{expanded}"
    );

    let text = example("base-by-acid");
    let certificate = text
        .lines()
        .find(|line| line.starts_with("concentration = "))
        .unwrap();
    let folder = folder("chain");
    std::fs::write(folder.join("acid.toml"), example("acid")).unwrap();
    let by_sheet = folder.join("base.toml");
    std::fs::write(
        &by_sheet,
        replaced(&text, certificate, "sheet = \"acid.toml\""),
    )
    .unwrap();
    let by_sheet = json(by_sheet.to_str().unwrap());
    let of = |json: &serde_json::Value, entry: &str| json["result"][entry].as_f64().unwrap();
    // The certificate is rounded to 1 in 20 000.
    let ratio = of(&by_sheet, "value") / of(&by_certificate, "value");
    assert!((ratio - 1.0).abs() < 5e-5, "{ratio}");
    let ratio = of(&by_sheet, "standard_uncertainty") / of(&by_certificate, "standard_uncertainty");
    assert!((ratio - 1.0).abs() < 0.1, "{ratio}");
    // The sheet brings the whole formula of the acid along, down to its weighings.
    let inputs = by_sheet["formula"]["inputs"].as_array().unwrap();
    assert!(
        inputs
            .iter()
            .any(|i| i["id"].as_str().unwrap().contains("T-0109 run 1"))
    );
}
