//! The rules, each on a made case.

use super::agreement::relative_range;
use super::*;
use crate::findings::made::{Made, codes};
use crate::layout::Layout;
use crate::rule_profile::RuleProfile;

fn judged(made: &Made, profile: &str) -> Vec<Finding> {
    let evaluation = made.evaluate();
    let profile = RuleProfile::named(profile).unwrap();
    broken_rules(&Case::of(&evaluation, profile))
}

#[test]
fn a_clean_set_breaks_no_rule_of_any_profile() {
    for layout in [Layout::SoughtInBurette, Layout::SoughtInFlask] {
        let made = Made::clean(layout);
        for profile in ["house", "loose", "teaching", "pharmacopoeia"] {
            let findings = judged(&made, profile);
            assert!(findings.is_empty(), "{profile}: {findings:?}");
        }
    }
    let two = Made::titres(
        Layout::SoughtInFlask,
        &[24.50, 24.51, 24.50, 24.52, 24.51, 24.50, 24.52, 24.51],
    )
    .analysts(&["Ada", "Ada", "Ada", "Ada", "Bo", "Bo", "Bo", "Bo"]);
    assert!(judged(&two, "two-analysts").is_empty());
}

#[test]
fn titres_exactly_at_the_limit_are_concordant() {
    for layout in [Layout::SoughtInBurette, Layout::SoughtInFlask] {
        assert!(judged(&Made::titres(layout, &[24.50, 24.60]), "teaching").is_empty());
        let findings = judged(&Made::titres(layout, &[24.50, 24.62]), "teaching");
        assert_eq!(codes(&findings), ["not-concordant"]);
        let message = &findings[0].message;
        assert!(
            message.starts_with("The titres differ by up to 0.12 mL"),
            "{message}"
        );
        assert!(
            message.ends_with("the rules \"teaching\" ask for 2 within 0.10 mL."),
            "{message}"
        );
        // A weighed standard is taken out, an aliquot is the same each time.
        let weighed = message.contains("once their masses are taken out");
        assert_eq!(weighed, layout == Layout::SoughtInBurette);
        let effect = findings[0].effect.unwrap();
        assert_eq!(effect < 0.0, layout == Layout::SoughtInBurette);
    }
}

#[test]
fn differing_masses_are_no_discordance() {
    // 2 % more standard needs 2 % more titrant.
    let made =
        Made::titres(Layout::SoughtInBurette, &[24.50, 24.99, 24.50]).amounts(&[1.0, 1.02, 1.0]);
    assert!(judged(&made, "teaching").is_empty());
    let unlike = Made::titres(Layout::SoughtInBurette, &[24.50, 24.50]).amounts(&[1.0, 1.02]);
    assert_eq!(codes(&judged(&unlike, "teaching")), ["not-concordant"]);
}

#[test]
fn a_discordant_run_in_the_mean_is_named() {
    let made = Made::titres(Layout::SoughtInFlask, &[24.50, 24.52, 24.75]);
    let findings = judged(&made, "teaching");
    assert_eq!(codes(&findings), ["discordant-run-averaged"]);
    assert_eq!(findings[0].runs, ["3"]);
}

#[test]
fn the_pharmacopoeia_limits_rsd_number_and_titre() {
    let made = Made::titres(Layout::SoughtInFlask, &[24.40, 24.50, 24.55]);
    let findings = judged(&made, "pharmacopoeia");
    assert_eq!(codes(&findings), ["rsd-too-large"]);
    assert!(
        findings[0].message.starts_with("RSD 0.31 % (n = 3);"),
        "{findings:?}"
    );
    let small = Made::titres(Layout::SoughtInFlask, &[7.35, 7.35]).nominal(0.03);
    assert_eq!(
        codes(&judged(&small, "pharmacopoeia")),
        ["too-few-runs", "titre-too-small"]
    );
}

#[test]
fn a_value_just_above_its_limit_is_not_printed_as_the_limit() {
    assert_eq!(beside(0.2004, 0.2), "0.2004");
    assert_eq!(beside(0.34, 0.2), "0.34");
    assert!(!above(0.2, &rule(0.2)) && above(0.2001, &rule(0.2)));
}

fn rule(limit: f64) -> Rule<f64> {
    Rule {
        limit,
        source: None,
        mark: None,
    }
}

#[test]
fn the_worked_example_of_two_analysts_is_judged_as_published() {
    // GB/T 601 as quoted in a public worked example: a relative range of 0.246 % fails, 0.128 % passes.
    let apart = |percent: f64| vec![0.1 * (1.0 + percent / 100.0), 0.1];
    let fails = relative_range(&apart(0.246)).unwrap();
    let passes = relative_range(&apart(0.128)).unwrap();
    assert!(above(fails, &rule(0.15)) && !above(passes, &rule(0.15)));
}

#[test]
fn analysts_and_their_runs_are_counted() {
    let made =
        Made::titres(Layout::SoughtInFlask, &[24.50, 24.51, 24.60]).analysts(&["Ada", "Ada", "Bo"]);
    let findings = judged(&made, "two-analysts");
    assert_eq!(
        codes(&findings),
        [
            "too-few-runs-of-analyst",
            "too-few-runs-of-analyst",
            "range-too-large"
        ]
    );
    let nobody = Made::titres(Layout::SoughtInFlask, &[24.50, 24.51]);
    let findings = judged(&nobody, "two-analysts");
    assert_eq!(codes(&findings)[0], "too-few-analysts");
}

#[test]
fn the_nominal_window_has_a_direction() {
    let made = Made::clean(Layout::SoughtInBurette).nominal(0.12);
    let findings = judged(&made, "loose");
    assert_eq!(codes(&findings), ["outside-nominal"]);
    assert!(
        findings[0].message.contains("below nominal"),
        "{findings:?}"
    );
    assert!(findings[0].effect.unwrap() < 0.0);
}

#[test]
fn coarse_readings_break_the_teaching_rule() {
    let made = Made::readings(Layout::SoughtInFlask, &[("0.0", "24.5"), ("0.00", "24.50")]);
    let findings = judged(&made, "teaching");
    assert_eq!(codes(&findings), ["readings-too-coarse"]);
    assert_eq!(findings[0].runs, ["1"]);
}
