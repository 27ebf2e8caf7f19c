//! Every finding fires on its case and is silent on a clean one; numbers by hand stand beside.

use super::made::{
    blank, by, by_blank, codes, head, judged, judged_by, one, reagent, sample, weighed,
};
use crate::finding::{Finding, Severity};
use crate::findings::CODES;
use crate::method;
use crate::rule_profile::RuleProfile;

const SOFT: [(&str, &str); 3] = [("0.02", "12.41"), ("12.41", "24.77"), ("24.77", "37.14")];

/// Total hardness with a titrant of 0.01 mol/L; 50 mL of 250 mg/L take 12.5 mL.
fn hardness(samples: &str) -> String {
    format!("{}{samples}", head("total-hardness", "0.01000 mol/L"))
}

/// Chloride of a solid by an adsorption indicator, about 25 mL.
fn chloride(samples: &str) -> String {
    format!(
        "{}{samples}",
        head("chloride-by-adsorption-indicator", "0.1000 mol/L")
    )
}

const SALT: [(&str, &str, &str); 3] = [
    ("0.1500", "0.02", "25.69"),
    ("0.1503", "0.03", "25.77"),
    ("0.1498", "0.01", "25.63"),
];

/// Salt in food: 25 mL of 0.1 mol/L silver.
fn food(samples: &str) -> String {
    format!(
        "{}{}{samples}",
        head("salt-in-food", "0.1000 mol/L"),
        reagent("silver", "0.1000 mol/L")
    )
}

#[test]
fn clean_sheets_are_left_alone() {
    // 0.1500 g of pure sodium chloride: 25.667 mL of 0.1 mol/L.
    assert_eq!(judged(&chloride(&weighed("S-1", "", &SALT))), []);
    // Half of the reagent left: 12.50 mL for 3.0 g with 2.435 % of salt.
    let text = food(&weighed(
        "B-1",
        "",
        &[
            ("3.0000", "0.02", "12.53"),
            ("3.0012", "0.03", "12.53"),
            ("2.9990", "0.01", "12.53"),
        ],
    ));
    assert_eq!(judged(&text), []);
    // A check sample within its uncertainty: 12.37 mL are 247.6 mg/L.
    let entries = "kind = \"check\"\nexpected = { value = \"248.0 mg/L\", U = \"1.0 mg/L\" }";
    let findings = judged(&hardness(&sample("C-1", entries, &SOFT)));
    // The titre is small for a 50 mL burette; the method asks for no more than 15 mL.
    assert_eq!(codes(&findings), ["small-titre"]);
}

#[test]
fn the_sets_of_runs_are_looked_at_as_everywhere() {
    let runs = [
        ("0.1500", "0.02", "25.69"),
        ("0.1500", "0.03", "26.69"),
        ("0.1500", "0.01", "25.67"),
    ];
    let findings = judged(&chloride(&weighed("S-1", "", &runs)));
    let slip = one(&findings, "slip-of-the-pen");
    assert!(slip.message.contains("was it 25.69"), "{}", slip.message);
    assert_eq!(slip.samples, ["S-1"]);
    // A third of 1 mL of 25.67 mL.
    assert!((slip.effect.unwrap() - 0.0129).abs() < 2e-4, "{slip:?}");
    let findings = judged(&food(&weighed(
        "B-1",
        "",
        &[
            ("3.0000", "0.02", "12.53"),
            ("3.0000", "0.03", "13.53"),
            ("3.0000", "0.01", "12.51"),
        ],
    )));
    // In a back titration the result falls: 1/3 of 1 mL of 12.17 mL used.
    let effect = one(&findings, "slip-of-the-pen").effect.unwrap();
    assert!((effect + 0.0274).abs() < 6e-4, "{effect}");
}

#[test]
fn rules_of_the_profile_are_judged() {
    let apart = [
        ("0.1500", "0.02", "25.69"),
        ("0.1500", "0.03", "25.85"),
        ("0.1500", "0.01", "25.61"),
    ];
    let text = chloride(&weighed("S-1", "", &apart));
    let method = method::find("chloride-by-adsorption-indicator").unwrap();
    let findings = judged_by(&text, method, "pharmacopoeia");
    // Titres 25.67, 25.82, 25.60: s = 0.112 mL, 0.44 %.
    let rsd = one(&findings, "rsd-too-large");
    assert_eq!(rsd.severity, Severity::RuleBroken);
    assert!(rsd.message.contains("0.44 %"), "{}", rsd.message);
    let clean = judged_by(
        &chloride(&weighed("S-1", "", &SALT)),
        method,
        "pharmacopoeia",
    );
    assert!(!codes(&clean).contains(&"rsd-too-large"));
}

#[test]
fn a_titre_outside_the_good_part_of_the_burette_is_told_the_better_portion() {
    let runs = [
        ("0.0300", "0.02", "5.16"),
        ("0.0300", "0.03", "5.16"),
        ("0.0300", "0.01", "5.15"),
    ];
    let findings = judged(&chloride(&weighed("S-1", "", &runs)));
    let small = one(&findings, "small-titre");
    // 30 mL, the middle of the good part, is 5.84 times 5.137 mL: 0.175 g.
    assert!(
        small.next_step.contains("0.18 g instead of 0.0300 g")
            || small.next_step.contains("0.18 g instead of 0.03 g"),
        "{}",
        small.next_step
    );
}

#[test]
fn nearly_all_of_the_excess_left() {
    // 22.50 of 25.00 mL left: 90 %, an error is multiplied by nine.
    let runs = [
        ("0.5000", "0.00", "22.50"),
        ("0.5000", "0.02", "22.52"),
        ("0.5001", "0.01", "22.51"),
    ];
    let findings = judged(&food(&weighed("B-1", "", &runs)));
    let left = one(&findings, "excess-nearly-all-left");
    assert!(
        (left.size.as_ref().unwrap().value - 90.0).abs() < 0.02,
        "{left:?}"
    );
    assert!(
        left.message.contains("moves it by 0.90 %"),
        "{}",
        left.message
    );
    assert!(
        left.next_step.contains("2.5 g instead of 0.5 g"),
        "{}",
        left.next_step
    );
}

#[test]
fn hardly_any_excess_left() {
    let runs = [
        ("5.9000", "0.00", "0.80"),
        ("5.9000", "1.02", "1.83"),
        ("5.9010", "2.01", "2.80"),
    ];
    let findings = judged(&food(&weighed("B-1", "", &runs)));
    let left = one(&findings, "excess-used-up");
    assert!(
        (left.size.as_ref().unwrap().value - 3.2).abs() < 0.05,
        "{left:?}"
    );
    assert!(
        left.next_step.contains("3.0 g instead of 5.9 g"),
        "{}",
        left.next_step
    );
}

#[test]
fn a_blank_that_holds_the_reagent() {
    let runs = [
        ("3.0000", "0.02", "12.53"),
        ("3.0012", "0.03", "12.53"),
        ("2.9990", "0.01", "12.53"),
    ];
    let text = |blanks: &str| {
        format!(
            "{}{blanks}{}",
            head("salt-by-blank", "0.1000 mol/L"),
            weighed("B-1", "", &runs)
        )
    };
    let good = judged_by(&text(&blank("0.00", "25.00")), &by_blank(), "house");
    assert_eq!(good, []);
    let exchanged = judged_by(&text(&blank("0.00", "7.00")), &by_blank(), "house");
    let finding = one(&exchanged, "blank-wrong-way");
    assert!(
        finding.message.contains("more than the blank (7.00 mL)"),
        "{}",
        finding.message
    );
    // The content is negative too.
    assert!(codes(&exchanged).contains(&"less-than-none"));
    let differ = text(&(blank("0.00", "25.00") + &blank("0.00", "25.30")));
    assert_eq!(
        codes(&judged_by(&differ, &by_blank(), "house")),
        ["blanks-differ"]
    );
}

#[test]
fn content_outside_the_range_of_its_portion() {
    // 35 mL of 0.01 mol/L for 50 mL: 700.6 mg/L; the range ends at 300 mg/L.
    let runs = [("0.02", "35.03"), ("0.01", "35.00"), ("0.03", "35.03")];
    let findings = judged(&hardness(&sample("W-1", "", &runs)));
    let range = one(&findings, "content-outside-range");
    assert_eq!(range.severity, Severity::Doubt);
    // Middle of 50 to 300 is 122.5 (geometric): 0.175 of 50 mL.
    assert!(
        range.next_step.contains("8.7 mL instead of 50 mL"),
        "{}",
        range.next_step
    );
    // With 10 mL of water the range is five times as high.
    let small = hardness("[piece]\nsample = \"pipette 10 mL A\"\n")
        + &sample(
            "W-1",
            "",
            &[("0.02", "7.03"), ("0.01", "7.00"), ("0.03", "7.03")],
        );
    assert!(!codes(&judged(&small)).contains(&"content-outside-range"));
}

#[test]
fn less_than_none() {
    let two = |total: &str, calcium: &str| {
        head("calcium-magnesium", "0.01000 mol/L")
            + &format!(
                "[[sample]]\nid = \"W-1\"\n[[sample.run]]\ntitration = \"total\"\ninitial = \"0.00 mL\"\nfinal = \"{total} mL\"\n[[sample.run]]\ntitration = \"calcium\"\ninitial = \"0.00 mL\"\nfinal = \"{calcium} mL\"\n"
            )
    };
    let findings = judged(&two("15.53", "23.65"));
    let negative = one(&findings, "less-than-none");
    assert!(
        negative.message.contains("may have been exchanged"),
        "{}",
        negative.message
    );
    assert!(!codes(&judged(&two("23.65", "15.53"))).contains(&"less-than-none"));
}

#[test]
fn more_than_the_whole_sample() {
    // 0.1500 g of sodium chloride said to be 0.0900 g: 101.1 % chloride.
    let runs = [
        ("0.0900", "0.02", "25.69"),
        ("0.0900", "0.03", "25.71"),
        ("0.0900", "0.01", "25.67"),
    ];
    let findings = judged(&chloride(&weighed("S-1", "", &runs)));
    let over = one(&findings, "more-than-all");
    // 25.67 x 0.1 x 35.45 / 90 = 101.11 %.
    assert!((over.effect.unwrap() - 0.0111).abs() < 3e-4, "{over:?}");
}

/// A fat whose blank takes 24.00 mL and whose runs take 20.00 mL, by a method of this text.
fn fat(mass: &str, method: &str) -> Vec<Finding> {
    let method = method::Method::read(method).unwrap_or_else(|e| panic!("{e}"));
    let runs = [
        (mass, "0.02", "20.02"),
        (mass, "0.03", "20.03"),
        (mass, "0.01", "20.01"),
    ];
    let text = format!(
        "{}{}{}{}",
        head("iodine-value", "0.1000 mol/L"),
        blank("0.00", "24.00"),
        blank("0.01", "24.01"),
        weighed("F-1", "", &runs)
    );
    judged_by(&text, &method, "house")
}

#[test]
fn more_than_the_whole_sample_is_ordinary_where_the_method_says_so() {
    let shipped = include_str!("../../../../../reference/methods/iodine-value.toml");
    let reason = "may_exceed_sample = \"the iodine is what the fat takes up, no part of it\"\n";
    assert!(shipped.contains(reason));
    let silent = shipped.replace(reason, "");
    let narrow = silent.replace("to = \"200 % m/m\"", "to = \"90 % m/m\"");
    // 4.00 mL x 0.1 mol/L x 253.81 g/mol / 2 = 50.76 mg of iodine: 127 of 100 in 40 mg, 254 in 20 mg.
    let has = |findings: &[Finding]| codes(findings).contains(&"more-than-all");
    assert!(!has(&fat("0.0400", shipped)) && !has(&fat("0.0200", shipped)));
    assert!(!has(&fat("0.0400", &silent)), "within the method's range");
    assert!(has(&fat("0.0200", &silent)), "beyond the method's range");
    assert!(has(&fat("0.0400", &narrow)), "no range above the whole");
    // 50.8 of 100 is no more than all by any of them.
    assert!(!has(&fat("0.1000", &narrow)));
}

#[test]
fn what_a_method_says_of_its_results_is_checked() {
    let shipped = include_str!("../../../../../reference/methods/iodine-value.toml");
    let refused = |from: &str, to: &str| {
        assert!(shipped.contains(from), "{from}");
        method::Method::read(&shipped.replace(from, to))
            .unwrap_err()
            .to_string()
    };
    let error = refused("unit = \"g/100 g\"", "unit = \"mmol/g\"");
    assert!(error.contains("result[1].may_exceed_sample"), "{error}");
    let error = refused("the iodine is what the fat takes up, no part of it", " ");
    assert!(error.contains("say why"), "{error}");
    let error = refused("result = \"iodine value\"", "result = \"bromine value\"");
    assert!(
        error.contains("range[1].result") && error.contains("iodine value"),
        "{error}"
    );
    let error = refused("to = \"200 % m/m\"", "to = \"200 g/L\"");
    assert!(error.contains("range[1].to"), "{error}");
    let error = refused("to = \"200 % m/m\"", "to = \"2 % m/m\"");
    assert!(error.contains("above the lower"), "{error}");
}

/// Samples of brine-like hardness with this limit: 247.6 mg/L by 12.37 mL.
fn limited(limits: &str, runs: &[(&str, &str)]) -> Vec<Finding> {
    judged(&hardness(&sample(
        "L-1",
        &format!("limits = {limits}"),
        runs,
    )))
}

#[test]
fn limits_that_are_not_kept_break_a_rule() {
    let kept = limited("{ to = \"300 mg/L\" }", &SOFT);
    assert!(!codes(&kept).iter().any(|c| c.starts_with("limits-")));
    // 47.6 mg/L above the limit, many times the uncertainty.
    let findings = limited("{ to = \"200 mg/L\" }", &SOFT);
    let broken = one(&findings, "limits-not-kept");
    assert_eq!(broken.severity, Severity::RuleBroken);
    assert!(
        broken.message.contains("under 0.1 %") && broken.message.contains("at most 200 mg/L"),
        "{}",
        broken.message
    );
    assert!(
        broken.next_step.contains("fresh portion"),
        "{}",
        broken.next_step
    );
    // Simple acceptance is a rule by which a value beyond the limit is out, however near.
    let findings = limited("{ to = \"247.4 mg/L\", guard_factor = 0 }", &SOFT);
    let near = one(&findings, "limits-not-kept");
    assert_eq!(near.severity, Severity::RuleBroken);
    assert!(
        near.message.contains("simple acceptance"),
        "{}",
        near.message
    );
}

#[test]
fn limits_that_are_not_surely_kept_are_a_doubt_unless_a_rule_was_declared() {
    // Just within the limit: a probability between 50 and 95 %.
    let findings = limited("{ to = \"247.8 mg/L\" }", &SOFT);
    let near = one(&findings, "limits-not-surely-kept");
    assert_eq!(near.severity, Severity::Doubt);
    assert!(
        near.message
            .contains("No decision rule is declared; 95 % is taken"),
        "{}",
        near.message
    );
    let findings = limited("{ to = \"247.8 mg/L\", probability = 0.95 }", &SOFT);
    let near = one(&findings, "limits-not-kept");
    assert_eq!(near.severity, Severity::RuleBroken);
    assert!(near.message.contains("95 % is wanted"), "{}", near.message);
}

/// The hardness of 247.6 mg/L CaCO3 by other names: 13.87 degrees by 10 mg CaO (M 56.08 for 100.09), 24.76 by 10 mg CaCO3,
/// 2.474 mmol/L, 24.76 mg/100 mL.
#[test]
fn limits_are_read_in_every_unit_of_report() {
    let broken = |limits: &str| codes(&limited(limits, &SOFT)).contains(&"limits-not-kept");
    for (kept, not_kept) in [
        ("14.0 °dH", "13.7 °dH"),
        ("25.0 °fH", "24.5 °fH"),
        ("2.50 mmol/L", "2.44 mmol/L"),
        ("25.0 mg/100 mL", "24.5 mg/100 mL"),
        ("250 mg/L", "245 mg/L"),
    ] {
        assert!(!broken(&format!("{{ to = \"{kept}\" }}")), "{kept}");
        assert!(broken(&format!("{{ to = \"{not_kept}\" }}")), "{not_kept}");
        assert!(
            !broken(&format!("{{ from = \"{not_kept}\" }}")),
            "{not_kept}"
        );
    }
    let findings = limited("{ to = \"13.7 °dH\" }", &SOFT);
    let message = &one(&findings, "limits-not-kept").message;
    assert!(
        message.contains("13.8") && message.contains("247."),
        "{message}"
    );
    // An assay that is looked at with other inputs keeps the unit of its limits.
    let text = hardness(&sample("L-1", "limits = { to = \"13.7 °dH\" }", &SOFT));
    let assay = by(&text, method::find("total-hardness").unwrap());
    let same = crate::assay::what_if(&assay, &[]).unwrap();
    let (same, own) = (&same.samples[0].conformity, &assay.samples[0].conformity);
    assert_eq!((same, own.as_ref().unwrap().unit.as_str()), (own, "°dH"));
}

#[test]
fn what_is_expected_is_read_in_every_unit_of_report() {
    let off = |value: &str, u: &str| {
        let entries =
            format!("kind = \"check\"\nexpected = {{ value = \"{value}\", U = \"{u}\" }}");
        judged(&hardness(&sample("C-1", &entries, &SOFT)))
    };
    for (good, bad, u) in [
        ("13.87 °dH", "14.12 °dH", "0.03 °dH"),
        ("24.76 mg/100 mL", "25.20 mg/100 mL", "0.05 mg/100 mL"),
        ("2.474 mmol/L", "2.518 mmol/L", "0.005 mmol/L"),
    ] {
        assert!(
            !codes(&off(good, u)).contains(&"check-sample-off"),
            "{good}"
        );
        let findings = off(bad, u);
        // All of them are 252.0 mg/L, less 1.8 %.
        let message = &one(&findings, "check-sample-off").message;
        assert!(
            message.contains("1.8 % less") || message.contains("1.7 % less"),
            "{message}"
        );
        assert!(message.contains("252."), "{message}");
    }
}

#[test]
fn units_that_do_not_belong_together_are_refused() {
    let refused = |entries: &str| {
        let text = hardness(&sample("C-1", entries, &SOFT));
        let sheet = crate::assay::AssaySheet::read(&text).unwrap_or_else(|e| panic!("{e}"));
        let method = method::find("total-hardness").unwrap();
        crate::assay::evaluate(&sheet, method, &|_| None)
            .unwrap_err()
            .to_string()
    };
    let error = refused("expected = { value = \"13.87 °dH\", U = \"0.5 mg/L\" }");
    assert!(error.contains("both in one unit"), "{error}");
    let error = refused("limits = { from = \"200 mg/L\", to = \"15 °dH\" }");
    assert!(error.contains("in one unit"), "{error}");
    let error = refused("limits = { to = \"15 mL\" }");
    assert!(error.contains("limits") && error.contains("mL"), "{error}");
    // A content by mass needs the density.
    let error = refused("limits = { to = \"250 mg/kg\" }");
    assert!(error.contains("density"), "{error}");
    let unknown = hardness(&sample("C-1", "limits = { to = \"15 drops\" }", &SOFT));
    assert!(crate::assay::AssaySheet::read(&unknown).is_err());
}

/// A check sample of 247.6 mg/L, said to hold this.
fn check(expected: &str) -> Vec<Finding> {
    let entries =
        format!("kind = \"check\"\nexpected = {{ value = \"{expected}\", U = \"0.5 mg/L\" }}");
    judged(&hardness(&sample("C-1", &entries, &SOFT)))
}

#[test]
fn a_check_sample_off() {
    let findings = check("252.0 mg/L");
    let off = one(&findings, "check-sample-off");
    assert!(
        off.message
            .contains("1.7 % less than the 252.0 mg/L expected"),
        "{}",
        off.message
    );
    assert!(off.effect.unwrap() < 0.0);
}

#[test]
fn a_check_sample_off_by_a_known_slip() {
    for (expected, close) in [
        ("123.8 mg/L", "close to 2 times"),
        ("61.9 mg/L", "close to 4 times"),
        ("495.2 mg/L", "close to 1/2 times"),
        ("24.8 mg/L", "close to 10 times"),
        // The titrant made of the dihydrate by the molar mass of the anhydrous salt reads 1.107 times too strong.
        ("223.6 mg/L", "close to 1.107 times"),
    ] {
        let findings = check(expected);
        let slip = one(&findings, "known-ratio");
        assert!(slip.message.contains(close), "{}", slip.message);
    }
}

#[test]
fn a_check_sample_on_another_basis() {
    // Chloride found, sodium chloride expected: 60.66 %.
    let entries = "kind = \"check\"\nexpected = { value = \"100.0 % m/m\", U = \"0.2 % m/m\" }";
    let findings = judged(&chloride(&weighed("S-1", entries, &SALT)));
    let slip = one(&findings, "known-ratio");
    assert!(slip.message.contains("stated as NaCl"), "{}", slip.message);
    let entries = "kind = \"check\"\nexpected = { value = \"60.65 % m/m\", U = \"0.2 % m/m\" }";
    assert_eq!(judged(&chloride(&weighed("S-1", entries, &SALT))), []);
}

#[test]
fn a_dilution_that_was_not_done() {
    // 250 to 25 mL on the sheet, the solution titrated as it was: ten times too much.
    let text = |expected: &str| {
        head("calcium-in-solid", "0.02000 mol/L")
            + "[piece]\nflask = \"flask 200 mL A\"\n"
            + &sample(
                "L-1",
                &format!(
                    "mass = \"0.5000 g\"\nkind = \"check\"\nexpected = {{ value = \"{expected}\", U = \"0.3 % m/m\" }}"
                ),
                &[("0.02", "25.02"), ("0.03", "25.04"), ("0.01", "25.00")],
            )
    };
    // 25.00 x 0.02 x 8 x 100.086 / 500 = 80.07 %.
    assert!(!codes(&judged(&text("80.1 % m/m"))).contains(&"known-ratio"));
    let findings = judged(&text("10.0 % m/m"));
    let slip = one(&findings, "known-ratio");
    assert!(
        slip.message
            .contains("all of the 200 mL titrated, and not 25 mL"),
        "{}",
        slip.message
    );
}

#[test]
fn a_blank_taken_the_wrong_way() {
    // 12.37 mL less 0.20 mL are 243.6 mg/L; 247.6 mg/L is what the runs show without the blank.
    let text = |expected: &str| {
        let entries =
            format!("kind = \"check\"\nexpected = {{ value = \"{expected}\", U = \"0.5 mg/L\" }}");
        hardness(&(blank("0.00", "0.20") + &sample("C-1", &entries, &SOFT)))
    };
    let not = judged(&text("247.6 mg/L"));
    assert!(
        one(&not, "blank-wrong-way")
            .message
            .contains("had not to be taken off")
    );
    let added = judged(&text("251.6 mg/L"));
    assert!(
        one(&added, "blank-wrong-way")
            .message
            .contains("had to be added")
    );
    assert!(!codes(&judged(&text("243.6 mg/L"))).contains(&"blank-wrong-way"));
}

#[test]
fn checks_that_drift_between_brackets() {
    let expected = "kind = \"check\"\nexpected = { value = \"247.6 mg/L\", U = \"5 mg/L\" }";
    let sheet = |last: &[(&str, &str)]| {
        hardness(
            &(sample("C-1", expected, &SOFT)
                + &sample("W-1", "", &SOFT)
                + &sample("W-2", "", &SOFT)
                + &sample("C-2", expected, last)),
        )
    };
    let findings = judged(&sheet(&[
        ("0.02", "12.55"),
        ("0.01", "12.55"),
        ("0.03", "12.56"),
    ]));
    let drift = one(&findings, "check-drift");
    assert_eq!(drift.samples, ["C-1", "C-2"]);
    assert!(
        drift.message.contains("Between them: W-1 and W-2"),
        "{}",
        drift.message
    );
    assert!(
        drift.message.contains("went up by 1.3 %"),
        "{}",
        drift.message
    );
    assert!(!codes(&judged(&sheet(&SOFT))).contains(&"check-drift"));
}

#[test]
fn a_titrant_that_is_another_when_standardized_again() {
    let sheet = |again: &str| {
        hardness(&(sample("W-1", "", &SOFT) + &sample("W-2", "", &SOFT)))
            + &format!(
                "[[recheck]]\nafter = \"W-2\"\ntitrant = {{ concentration = {{ value = \"{again} mol/L\", u = \"0.00001 mol/L\" }} }}\n"
            )
    };
    let findings = judged(&sheet("0.00990"));
    let changed = one(&findings, "titrant-changed");
    assert_eq!(changed.samples, ["W-1", "W-2"]);
    // 1 % weaker than counted with: the results are 1/0.99 too high.
    let effect = changed.effect.unwrap();
    assert!((effect - 0.0101).abs() < 1e-4, "{changed:?}");
    assert!(!codes(&judged(&sheet("0.01001"))).contains(&"titrant-changed"));
}

#[test]
fn samples_without_a_check_between_them() {
    let check = "kind = \"check\"\nexpected = { value = \"247.6 mg/L\", U = \"5 mg/L\" }";
    let sheet = |every: usize| {
        hardness(
            &(sample("C-1", check, &SOFT)
                + &sample("W-1", "", &SOFT)
                + &sample("W-2", "", &SOFT)
                + &sample("W-3", "", &SOFT)),
        )
        .replacen("title", &format!("check_every = {every}\ntitle"), 1)
    };
    let findings = judged(&sheet(2));
    let missing = one(&findings, "check-missing");
    assert!(
        missing.message.contains("3 samples stand") && missing.message.contains("from W-1 to W-3"),
        "{missing:?}"
    );
    assert!(!codes(&judged(&sheet(3))).contains(&"check-missing"));
}

#[test]
fn one_sample_twice() {
    let sheet = |last: &[(&str, &str)]| {
        hardness(&(sample("W-1", "", &SOFT) + &sample("W-2", "", &SOFT) + &sample("W-1", "", last)))
    };
    let findings = judged(&sheet(&[
        ("0.02", "12.55"),
        ("0.01", "12.55"),
        ("0.03", "12.56"),
    ]));
    assert_eq!(one(&findings, "titrations-disagree").samples, ["W-1"]);
    assert!(!codes(&judged(&sheet(&SOFT))).contains(&"titrations-disagree"));
}

#[test]
fn duplicates_against_a_published_limit() {
    let mut method = method::find("total-hardness").unwrap().clone();
    method.precision = toml::from_str::<Precision>(
        "precision = [{ result = \"total hardness\", repeatability = { constant = \"2 mg/L\", share = \"0.8 %\" }, reproducibility = { share = \"2 %\" }, source = \"a trial\" }]",
    )
    .unwrap()
    .precision;
    // 12.37 and 12.67 mL: 6.0 mg/L apart; 12.37 and 12.50 mL: 2.6 mg/L.
    let two = |last: &str| hardness(&sample("W-1", "", &[("0.02", "12.39"), ("0.00", last)]));
    let apart = judged_by(&two("12.67"), &method, "house");
    let finding = one(&apart, "duplicates-apart");
    assert_eq!(finding.severity, Severity::RuleBroken);
    assert!(
        (finding.size.as_ref().unwrap().value - 6.005 / 4.0).abs() < 0.01,
        "{finding:?}"
    );
    assert!(!codes(&judged_by(&two("12.50"), &method, "house")).contains(&"duplicates-apart"));
    // A limit that was found for other contents says nothing.
    let to = |written: &str| Some(written.parse().unwrap());
    method.precision[0].to = to("200 mg/L");
    assert!(!codes(&judged_by(&two("12.67"), &method, "house")).contains(&"duplicates-apart"));
    method.precision[0].to = to("300 mg/L");
    assert!(codes(&judged_by(&two("12.67"), &method, "house")).contains(&"duplicates-apart"));
}

/// Wine in duplicate: 10 mL take 8.00 mL of 0.1 mol/L, 6.003 g/L as tartaric acid; 0.1 mL is 0.075 g/L, r is 0.07 g/L.
#[test]
fn shipped_limits_are_judged() {
    let wine = |last: &str| {
        let runs = [("0.00", "8.00"), ("0.00", last)];
        let text = head("wine-total-acidity-ph7", "0.1000 mol/L") + &sample("W-1", "", &runs);
        let method = method::find("wine-total-acidity-ph7").unwrap();
        crate::assay::agreement(method, &by(&text, method).samples[0])
            .into_iter()
            .map(|a| (a.range, a.range > a.limit))
            .collect::<Vec<_>>()
    };
    let [(range, apart)] = wine("8.10")[..] else {
        panic!("{:?}", wine("8.10"))
    };
    assert!(
        (range - 0.1 * 0.1 / 10.0 / 2.0 * 150.087).abs() < 1e-4,
        "{range}"
    );
    assert!(apart && !wine("8.08")[0].1);
    // Karl Fischer: the limit holds up to 0.5 % of water.
    let water = |titre: &str, last: &str| {
        let runs = [("10.0000", "0.00", titre), ("10.0000", "0.00", last)];
        let text = head("water-one-component", "5.000 mg/mL")
            .replace("u = \"0.00001 mol/L\"", "exact = true")
            + &weighed("S-1", "", &runs);
        let method = method::find("water-one-component").unwrap();
        let agreement = crate::assay::agreement(method, &by(&text, method).samples[0]);
        agreement
            .iter()
            .map(|a| a.range > a.limit)
            .collect::<Vec<_>>()
    };
    // 0.30 % in 10 g: 6 mL; 0.008 % is 0.16 mL.
    assert_eq!(water("6.00", "6.15"), [false]);
    assert_eq!(water("6.00", "6.17"), [true]);
    assert_eq!(water("12.00", "12.17"), [false; 0]);
}

#[test]
fn precision_of_a_method_is_checked() {
    let shipped = include_str!("../../../../../reference/methods/wine-total-acidity-ph7.toml");
    let refused = |from: &str, to: &str| {
        assert!(shipped.contains(from), "{from}");
        let text = shipped.replace(from, to);
        method::Method::read(&text).unwrap_err().to_string()
    };
    let error = refused("constant = \"0.07 g/L\"", "constant = \"0.07 mL\"");
    assert!(error.contains("precision[1].repeatability"), "{error}");
    let error = refused("constant = \"0.07 g/L\"", "");
    assert!(error.contains("give a constant"), "{error}");
    let error = refused(
        "[[precision]]\nresult = \"total acidity\"",
        "[[precision]]\nresult = \"acidity\"",
    );
    assert!(error.contains("not a result"), "{error}");
}

#[test]
fn a_check_sample_against_a_published_reproducibility() {
    let mut method = method::find("total-hardness").unwrap().clone();
    method.precision = toml::from_str::<Precision>(
        "precision = [{ result = \"total hardness\", repeatability = { constant = \"2 mg/L\", share = \"0.8 %\" }, reproducibility = { share = \"2 %\" }, source = \"a trial\" }]",
    )
    .unwrap()
    .precision;
    // The stated uncertainty covers 247.6 for 252.0 mg/L; R = 5.04 and r = 4.016 mg/L do not: for a mean of three
    // the critical difference is sqrt((5.04^2 - 4.016^2 2/3)/2) = 2.71 mg/L, and z = -4.4 x 2.8/5.04 = -2.4.
    let text = |expected: &str| {
        let entries =
            format!("kind = \"check\"\nexpected = {{ value = \"{expected}\", U = \"10 mg/L\" }}");
        hardness(&sample("C-1", &entries, &SOFT))
    };
    let findings = judged_by(&text("252.0 mg/L"), &method, "house");
    let off = one(&findings, "check-sample-off");
    assert!(off.message.contains("z \u{2212}2.4 by"), "{}", off.message);
    for inside in ["250.2 mg/L", "245.5 mg/L"] {
        let findings = judged_by(&text(inside), &method, "house");
        assert!(!codes(&findings).contains(&"check-sample-off"), "{inside}");
    }
}

#[derive(serde::Deserialize)]
struct Precision {
    precision: Vec<crate::method::PrecisionPlan>,
}

#[test]
fn large_blanks_and_several_samples() {
    let text =
        hardness(&(blank("0.00", "0.45") + &sample("W-1", "", &SOFT) + &sample("W-2", "", &SOFT)));
    let findings = judged(&text);
    let large = one(&findings, "blank-large");
    assert!(large.effect.unwrap() < 0.0);
    let small = one(&findings, "small-titre");
    assert_eq!(small.samples, ["W-1", "W-2"]);
    assert!(
        small.message.starts_with("Runs W-1 1, W-1 2 and W-1 3: ")
            && small
                .message
                .ends_with(" The same, with other numbers, holds for W-2."),
        "{}",
        small.message
    );
}

#[test]
fn ranges_of_shipped_methods_can_be_compared() {
    for method in method::all() {
        for range in &method.range {
            assert!(
                method.result.iter().any(|r| r.name == range.result),
                "{}: no result {}",
                method.name,
                range.result
            );
        }
        for plan in &method.precision {
            assert!(
                method.result.iter().any(|r| r.name == plan.result),
                "{}",
                method.name
            );
        }
    }
}

#[test]
fn messages_are_plain_and_codes_listed() {
    let sheets = [
        check("123.8 mg/L"),
        check("252.0 mg/L"),
        judged(&food(&weighed("B-1", "", &[("0.5000", "0.00", "22.50")]))),
        judged(&chloride(&weighed(
            "S-1",
            "",
            &[("0.0900", "0.02", "25.69")],
        ))),
    ];
    for finding in sheets.iter().flatten() {
        assert!(
            CODES.iter().any(|(code, _)| *code == finding.code),
            "{finding:?}"
        );
        for text in [&finding.message, &finding.next_step] {
            assert!(
                !["!", "  ", "NaN", "inf"]
                    .iter()
                    .any(|odd| text.contains(odd))
                    && text.ends_with(['.', '?'])
                    && text.starts_with(|c: char| c.is_uppercase() || c.is_ascii_digit()),
                "{finding:?}"
            );
        }
    }
}

#[test]
fn every_example_can_be_judged_by_every_profile() {
    let assay = by(
        &chloride(&weighed("S-1", "", &SALT)),
        method::find("chloride-by-adsorption-indicator").unwrap(),
    );
    for profile in RuleProfile::shipped() {
        let _ = super::judge(&assay, profile);
    }
}

#[test]
fn notes_that_many_samples_share_are_said_once() {
    let note = |sample: &str, severity: Severity, next: &str| {
        let message = format!("Sample {sample}: told with its own number.");
        Finding::new("small-titre", severity, message, next).of([sample])
    };
    let told = super::notes_once(vec![
        note("A", Severity::Note, "Take more."),
        note("B", Severity::Note, "Take more."),
        note("B", Severity::Note, "Take more."),
        note("A", Severity::Note, "Take more."),
        note("C", Severity::Note, "Take less."),
        note("D", Severity::Doubt, "Take more."),
        note("E", Severity::Doubt, "Take more."),
    ]);
    let messages: Vec<&str> = told.iter().map(|f| f.message.as_str()).collect();
    // A second time of the same sample adds no name; another next step, or a doubt, stands for itself.
    assert_eq!(
        messages,
        [
            "Sample A: told with its own number. The same, with other numbers, holds for B.",
            "Sample C: told with its own number.",
            "Sample D: told with its own number.",
            "Sample E: told with its own number.",
        ]
    );
    assert_eq!(told[0].samples, ["A", "B"]);
    // What is about no sample is left alone.
    let of_none = Finding::new("small-titre", Severity::Note, "All.", "Take more.");
    assert_eq!(super::notes_once(vec![of_none.clone(), of_none]).len(), 2);
}
