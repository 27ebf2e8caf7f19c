//! `halfdrop validate` as a person runs it.
#![allow(clippy::unwrap_used)]

mod common;

use common::{halfdrop, halfdrop_with};

const EXAMPLE: &str = "examples/bleach-validation.toml";

#[test]
fn the_example_has_its_reviewed_report() {
    let outcome = halfdrop(&["validate", EXAMPLE]);
    insta::assert_snapshot!("bleach-validation", outcome.out);
    assert_eq!((outcome.status, outcome.err.as_str()), (0, ""));
    for line in outcome.out.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
}

#[test]
fn json_has_the_same_numbers() {
    let outcome = halfdrop(&["validate", EXAMPLE, "--json"]);
    let document: serde_json::Value = serde_json::from_str(&outcome.out).unwrap();
    assert_eq!(document["format"], "halfdrop.validation/1");
    assert_eq!(document["limits_kept"], true);
    let bias = document["comparison"]["agreement"]["bias"]["value"]
        .as_f64()
        .unwrap();
    assert!((bias + 2.483_333).abs() < 1e-6, "{bias}");
}

#[test]
fn a_broken_limit_is_told_by_the_status() {
    let text =
        common::example("bleach-validation").replace("largest_bias = 5.0", "largest_bias = 1.0");
    let outcome = halfdrop_with(&["validate", "-"], text.as_bytes());
    assert_eq!(outcome.status, 1);
    assert!(
        outcome.out.contains("broken: mean difference"),
        "{}",
        outcome.out
    );
}

#[test]
fn a_plain_table_will_do() {
    let table = b"day;g/L\nMon;1,00\nMon;1,02\nTue;1,05\nTue;1,06\n";
    let outcome = halfdrop_with(&["validate", "-", "--table", "precision"], table);
    assert_eq!(outcome.status, 0, "{}", outcome.err);
    assert!(
        outcome.out.contains("Scatter by day, 4 results"),
        "{}",
        outcome.out
    );
}

#[test]
fn what_is_wrong_is_said() {
    for (text, arguments, said) in [
        ("title = \"x\"\n", vec![], "nothing to validate"),
        (
            "title = \"x\"\n[comparison]\nfirst = \"a\"\nsecond = \"b\"\npairs = [[1, 2]]\n",
            vec![],
            "comparison",
        ),
        (
            "title = \"x\"\n[linearity]\nportion_unit = \"mL\"\ntitre_unit = \"mL\"\npoints = [[0, 1], [1, 2], [2, 3]]\n",
            vec![],
            "linearity.points[1]",
        ),
        (
            "title = \"x\"\n[recovery]\nlevels = [{ added = 0, found = [1] }]\n",
            vec![],
            "recovery.levels[1].added",
        ),
        (
            "title = \"x\"\n[precision]\nby = \"day\"\n[precision.groups]\na = [1.0]\n",
            vec![],
            "two or more",
        ),
        ("a,b\n1,two\n", vec!["--table", "comparison"], "line 2"),
        ("", vec![], "empty"),
    ] {
        let mut all = vec!["validate", "-"];
        all.extend(arguments);
        let outcome = halfdrop_with(&all, text.as_bytes());
        assert_eq!(outcome.status, 2, "{text}: {}", outcome.out);
        assert!(outcome.err.contains(said), "{text}: {}", outcome.err);
    }
}
