//! Assay sheets and methods on the command line.
#![allow(clippy::unwrap_used)]

mod common;

use common::{example, folder, halfdrop, halfdrop_with, replaced};

#[test]
fn vinegar_by_the_base_that_another_sheet_standardized() {
    let outcome = halfdrop(&["evaluate", "examples/vinegar.toml"]);
    insta::assert_snapshot!("vinegar", outcome.out);
    assert_eq!((outcome.status, outcome.err.as_str()), (0, ""));
    assert!(outcome.out.lines().all(|line| line.chars().count() <= 100));
}

/// The other benches of the works, each with a check sample.
#[test]
fn the_benches_of_the_works() {
    for name in [
        "brine",
        "process-water-hardness",
        "process-water-alkalinity",
        "bleach",
        "outfall",
    ] {
        let outcome = halfdrop(&["evaluate", &format!("examples/{name}.toml")]);
        insta::assert_snapshot!(name, outcome.out);
        // One tank of brine and one of bleach do not keep their limits.
        let status = i32::from(name == "brine" || name == "bleach");
        assert_eq!(
            (outcome.status, outcome.err.as_str()),
            (status, ""),
            "{name}"
        );
        for line in outcome.out.lines() {
            assert!(line.chars().count() <= 100, "{name}: {line}");
        }
    }
}

#[test]
fn a_standard_addition_tells_content_and_recovery() {
    let path = "examples/methods/calcium-by-standard-addition.toml";
    let outcome = halfdrop(&["evaluate", path]);
    insta::assert_snapshot!("standard-addition", outcome.out);
    assert_eq!((outcome.status, outcome.err.as_str()), (0, ""));
    assert!(outcome.out.lines().all(|line| line.chars().count() <= 100));
    let working = halfdrop(&["evaluate", path, "--working"]).out;
    assert!(working.contains("R = "), "{working}");
    let json = halfdrop(&["evaluate", path, "--json"]).out;
    let document: serde_json::Value = serde_json::from_str(&json).unwrap();
    let line = &document["samples"][0]["standard_addition"];
    // Slope 1.8850 mL per mL where 2 is all of it.
    let recovery = line["recovery"]["value"].as_f64().unwrap();
    assert!((recovery - 94.25).abs() < 1e-9, "{recovery}");
    assert_eq!(line["points"].as_array().unwrap().len(), 4);
    let shown = halfdrop(&["method", "show", "calcium-by-standard-addition"]).out;
    assert!(
        shown.contains("standard: to portions of the sample"),
        "{shown}"
    );
}

#[test]
fn the_json_holds_the_results_and_the_whole_formula() {
    let outcome = halfdrop(&["evaluate", "examples/vinegar.toml", "--json"]);
    let document: serde_json::Value = serde_json::from_str(&outcome.out).unwrap();
    assert_eq!(document["format"], "halfdrop.assay/1");
    let result = &document["samples"][0]["results"][0];
    assert_eq!(result["unit"], "g/100 mL");
    let inputs = result["formula"]["inputs"].as_array().unwrap();
    let one_burette = |i: &&serde_json::Value| i["id"] == "B-3/calibration";
    assert_eq!(
        inputs.iter().filter(one_burette).count(),
        1,
        "both sheets used the burette B-3"
    );
}

#[test]
fn what_cannot_be_is_refused_with_the_line() {
    let folder = folder("assays");
    std::fs::write(
        folder.join("base-by-phthalate.toml"),
        example("base-by-phthalate"),
    )
    .unwrap();
    let text = replaced(&example("vinegar"), "flask 100 mL A", "flask 5 mL A");
    let path = folder.join("impossible.toml");
    std::fs::write(&path, text).unwrap();
    let outcome = halfdrop(&["evaluate", path.to_str().unwrap()]);
    assert_eq!(outcome.status, 2);
    assert!(
        outcome.err.contains("10 mL cannot be made up to 5 mL"),
        "{}",
        outcome.err
    );
    assert!(
        outcome.err.contains("line 16, piece.flask"),
        "{}",
        outcome.err
    );
}

#[test]
fn methods_are_listed_shown_and_checked() {
    let list = halfdrop(&["method", "list"]);
    assert_eq!(list.status, 0);
    assert!(list.out.contains("vinegar-acidity"));
    let shown = halfdrop(&["method", "show", "vinegar-acidity"]);
    assert!(
        shown.out.contains("CH3COOH + OH^- -> CH3COO^- + H2O"),
        "{}",
        shown.out
    );
    let unknown = halfdrop(&["method", "show", "vinegar"]);
    assert_eq!(unknown.status, 2);
    assert!(unknown.err.contains("vinegar-acidity"), "{}", unknown.err);
    let folder = folder("methods");
    let good =
        std::fs::read_to_string(common::root().join("reference/methods/vinegar-acidity.toml"))
            .unwrap();
    let path = folder.join("own.toml");
    std::fs::write(&path, &good).unwrap();
    assert_eq!(
        halfdrop(&["method", "check", path.to_str().unwrap()]).status,
        0
    );
    std::fs::write(
        &path,
        replaced(&good, "-> CH3COO^- + H2O\"]", "-> CH3COO^-\"]"),
    )
    .unwrap();
    let unbalanced = halfdrop(&["method", "check", path.to_str().unwrap()]);
    assert_eq!(unbalanced.status, 2);
    assert!(unbalanced.err.contains("reaction[1]"), "{}", unbalanced.err);
}

/// A sheet of its own, evaluated with these arguments.
fn evaluated(name: &str, text: &str, more: &[&str]) -> common::Outcome {
    let path = folder("judged").join(name);
    std::fs::write(&path, text).unwrap();
    let mut words = vec!["evaluate", path.to_str().unwrap()];
    words.extend(more);
    halfdrop(&words)
}

/// P above half of T by a method that assumes carbonate and hydrogen carbonate.
const P_ABOVE_HALF_OF_T: &str = r#"
title = "Wash water"
method = "carbonate-and-hydrogen-carbonate"
[titrant]
concentration = { value = "0.1000 mol/L", U = "0.0002 mol/L" }
[apparatus]
burette = "burette 50 mL A"
[conditions]
temperature = "20 degC"
[[sample]]
id = "P-1"
[[sample.run]]
initial = "0.00 mL"
ends = ["14.00 mL"]
final = "24.00 mL"
"#;

#[test]
fn what_cannot_be_breaks_a_rule() {
    let outcome = evaluated("p-and-t.toml", P_ABOVE_HALF_OF_T, &[]);
    assert_eq!(outcome.status, 1, "{}", outcome.err);
    assert!(
        outcome
            .out
            .contains("Less than none was found of hydrogen carbonate"),
        "{}",
        outcome.out
    );
    // 8 mL to the first end point of 24 mL: 16 mL are twice that, and hydrogen carbonate is there.
    let good = replaced(P_ABOVE_HALF_OF_T, "14.00", "8.00");
    assert_eq!(evaluated("good.toml", &good, &[]).status, 0);
}

#[test]
fn findings_name_their_samples() {
    let outcome = evaluated("p-and-t.json.toml", P_ABOVE_HALF_OF_T, &["--json"]);
    let document: serde_json::Value = serde_json::from_str(&outcome.out).unwrap();
    let first = &document["findings"][0];
    assert_eq!(first["code"], "less-than-none");
    assert_eq!(first["samples"], serde_json::json!(["P-1"]));
    // 2 x 14 - 24 = 4 mL of 0.1 mol/L too few in 25 mL: 0.016 mol/L x 61.017 g/mol.
    let size = first["size"]["value"].as_f64().unwrap();
    assert!((size / -976.27 - 1.0).abs() < 1e-4, "{size}");
}

#[test]
fn an_example_can_be_evaluated_as_it_is_printed() {
    // brainly mirror 13409120: 0.1457 g of citric acid in 20 mL of grapefruit juice, so 7.29 g/L.
    let sheet = halfdrop(&["method", "example", "fruit-acidity"]);
    assert_eq!((sheet.status, sheet.err.as_str()), (0, ""));
    let outcome = halfdrop_with(&["evaluate", "-"], sheet.out.as_bytes());
    assert_eq!(outcome.status, 0, "{}", outcome.err);
    assert!(outcome.out.contains("7.286 ±"), "{}", outcome.out);
    // A standardization is a sheet of another kind.
    let sheet = halfdrop(&["method", "example", "permanganate-by-oxalate"]);
    let outcome = halfdrop_with(&["evaluate", "-"], sheet.out.as_bytes());
    assert!(outcome.out.contains("0.0448"), "{}", outcome.out);
    let unknown = halfdrop(&["method", "example", "thiosulfate"]);
    assert_eq!(unknown.status, 2);
    assert!(
        unknown.err.contains("thiosulfate-by-iodate")
            && unknown.err.contains("thiosulfate-by-iodine"),
        "{}",
        unknown.err
    );
}

#[test]
fn every_example_is_usable() {
    let list = halfdrop(&["method", "list"]).out;
    let names = list.lines().filter_map(|l| l.strip_prefix("  "));
    for name in names.filter_map(|l| l.split(' ').next()) {
        let sheet = halfdrop(&["method", "example", name]).out;
        let outcome = halfdrop_with(&["evaluate", "-", "--trials", "0"], sheet.as_bytes());
        assert_eq!(outcome.status, 0, "{name}: {}{}", outcome.err, outcome.out);
    }
}

#[test]
fn a_list_with_checks_and_a_titrant_that_weakened() {
    let outcome = halfdrop(&["evaluate", "examples/process-water-series.toml"]);
    insta::assert_snapshot!("process-water-series", outcome.out);
    // One sample does not keep its limits by the declared rule.
    assert_eq!((outcome.status, outcome.err.as_str()), (1, ""));
    assert!(outcome.out.lines().all(|line| line.chars().count() <= 100));
}

#[test]
fn the_result_of_a_sample_is_simulated() {
    let document = |trials: &str| -> serde_json::Value {
        let sheet = "examples/vinegar.toml";
        let outcome = halfdrop(&["evaluate", sheet, "--json", "--trials", trials]);
        serde_json::from_str(&outcome.out).unwrap()
    };
    let whole = document("50000");
    let sample = &whole["samples"][0];
    let simulated = &sample["monte_carlo"];
    assert_eq!(simulated["trials"], 50_000);
    let number = |value: &serde_json::Value| value.as_f64().unwrap();
    let result = &sample["results"][0];
    let u = number(&result["standard_uncertainty"]);
    assert!((number(&simulated["mean"]) - number(&result["value"])).abs() < 0.05 * u);
    assert!((number(&simulated["standard_uncertainty"]) / u - 1.0).abs() < 0.05);
    assert_eq!(sample["conformity"]["rule"], "probability");
    assert!(document("0")["samples"][0]["monte_carlo"].is_null());
}
