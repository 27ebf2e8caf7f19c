//! Evaluation of whole sheets.

use titrimetry::evaluation::{ScatterRule, evaluate};
use titrimetry::{Layout, Sheet};

/// Three runs of a base against weighed phthalate.
const BASE: &str = r#"
title = "Base 0.1 for vinegar"
[sought]
substance = "sodium hydroxide"
place = "burette"
nominal = "0.1 mol/L"
bottle = "B-17"
[known]
substance = "potassium hydrogen phthalate"
purity = { value = "99.970 %", U = "0.070 %", k = 2, certificate = "RM 12" }
[apparatus]
burette = "burette 50 mL A"
balance = "four-place balance"
[conditions]
temperature = "20 degC"
[[run]]
kind = "rough"
mass = "0.5010 g"
initial = "0.0 mL"
final = "24.9 mL"
[[run]]
mass = "0.5105 g"
initial = "0.05 mL"
final = "24.97 mL"
[[run]]
mass = "0.4987 g"
initial = "0.10 mL"
final = "24.47 mL"
[[run]]
mass = "0.5052 g"
initial = "0.02 mL"
final = "24.70 mL"
"#;

fn sheet(text: &str) -> Sheet {
    Sheet::read(text).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn the_concentration_is_that_of_a_pocket_calculator() {
    let evaluation = evaluate(&sheet(BASE), None).unwrap();
    // c = m w (1 + buoyancy) / (M V); M(KHC8H4O4) = 204.2223 g/mol (CIAAW 2021 abridged), buoyancy 1.0005839 for
    // 1636 kg/m3 in air of 1.2 kg/m3 (metrology handbook formula; the room's typical air differs by 2 %).
    let by_hand = |m: f64, v: f64| m * 0.9997 * 1.000_583_9 / (204.2223 * v) * 1000.0;
    let expected = (by_hand(0.5105, 24.92) + by_hand(0.4987, 24.37) + by_hand(0.5052, 24.68)) / 3.0;
    assert!(
        (evaluation.concentration() / expected - 1.0).abs() < 3e-5,
        "{} {expected}",
        evaluation.concentration()
    );
    assert_eq!(evaluation.layout, Layout::SoughtInBurette);
    assert_eq!(evaluation.counting().count(), 3);
    assert!((evaluation.factor.unwrap().value - expected / 0.1).abs() < 3e-5);
}

#[test]
fn random_effects_are_counted_once() {
    let evaluation = evaluate(&sheet(BASE), None).unwrap();
    assert_eq!(evaluation.scatter.rule, ScatterRule::Pooled);
    // With the scatter as one input, no reading or weighing of a run contributes by itself.
    let inputs = evaluation.formula.inputs();
    assert!(
        evaluation
            .budget
            .lines
            .iter()
            .all(|line| inputs[line.input].scope == metrology::Scope::Shared)
    );
    let repeatability = evaluation
        .budget
        .lines
        .iter()
        .find(|l| inputs[l.input].group == "repeatability")
        .unwrap();
    let expected = evaluation.scatter.used / 3f64.sqrt() * evaluation.concentration();
    assert!((repeatability.contribution / expected - 1.0).abs() < 1e-9);
}

#[test]
fn signs_follow_from_the_layout() {
    let burette = evaluate(&sheet(BASE), None).unwrap();
    // A titre that reads 0.05 mL high makes the burette's solution look weaker by 0.05/24.66.
    assert!((burette.effect_of_titre(0.05) + 0.05 / 24.66).abs() < 2e-6);
    let flask = BASE
        .replace("place = \"burette\"", "place = \"flask\"")
        .replace(
            "substance = \"sodium hydroxide\"",
            "substance = \"hydrochloric acid\"",
        )
        .replace(
            "substance = \"potassium hydrogen phthalate\"",
            "substance = \"sodium hydroxide\"",
        )
        .replace(
            "purity = { value = \"99.970 %\", U = \"0.070 %\"",
            "concentration = { value = \"0.1002 mol/L\", U = \"0.0002 mol/L\"",
        )
        .replace("burette = ", "pipette = \"pipette 25 mL A\"\nburette = ");
    let flask: String = flask
        .lines()
        .filter(|l| !l.starts_with("mass"))
        .map(|l| format!("{l}\n"))
        .collect();
    let flask = evaluate(&sheet(&flask), None).unwrap();
    assert_eq!(flask.layout, Layout::SoughtInFlask);
    assert!((flask.effect_of_titre(0.05) - 0.05 / 24.66).abs() < 2e-6);
}

#[test]
fn a_parent_sheet_hands_its_formula_on() {
    let acid = evaluate(&sheet(&BASE.replace("B-17", "B-1")), None).unwrap();
    let child = r#"
title = "Acid against the base"
[sought]
substance = "HCl"
place = "flask"
[known]
substance = "NaOH"
sheet = "base.toml"
[apparatus]
burette = "burette 50 mL A"
pipette = "pipette 25 mL A"
[[run]]
initial = "0.00 mL"
final = "25.10 mL"
[[run]]
initial = "0.00 mL"
final = "25.12 mL"
"#;
    let child = evaluate(&sheet(child), Some(&acid)).unwrap();
    let expected = acid.concentration() * 25.11 / 25.0;
    assert!((child.concentration() / expected - 1.0).abs() < 1e-6);
    // The purity of the phthalate is still an input of the second result.
    assert!(
        child
            .formula
            .inputs()
            .iter()
            .any(|input| input.group == "purity of the standard")
    );
    let steps = child.formula.steps();
    assert!(steps.iter().any(|step| step.symbol == "c\u{2032}"));
}

#[test]
fn blanks_are_subtracted_with_their_uncertainty() {
    let with_blank =
        format!("{BASE}[[run]]\nkind = \"blank\"\ninitial = \"0.00 mL\"\nfinal = \"0.06 mL\"\n");
    let plain = evaluate(&sheet(BASE), None).unwrap();
    let blank = evaluate(&sheet(&with_blank), None).unwrap();
    let expected = plain.concentration() * (24.66 / 24.60);
    assert!((blank.concentration() / expected - 1.0).abs() < 5e-6);
    assert!((blank.blank.unwrap() - 0.06).abs() < 1e-6);
    // The tolerance of the burette stays whole: the blank does not take it away.
    let tolerance = |e: &titrimetry::Evaluation| {
        let of =
            |l: &&metrology::BudgetLine| e.formula.inputs()[l.input].group == "burette tolerance";
        e.budget.lines.iter().find(of).unwrap().contribution.abs() / e.concentration()
    };
    assert!((tolerance(&blank) / tolerance(&plain) - 24.66 / 24.60).abs() < 1e-4);
}

#[test]
fn an_end_that_is_seen_late_is_subtracted_with_its_uncertainty() {
    let late = format!(
        "{BASE}[end_point]\nlate = {{ value = \"0.06 mL\", u = \"0.02 mL\", certificate = \"prediction\" }}\n"
    );
    let plain = evaluate(&sheet(BASE), None).unwrap();
    let late = evaluate(&sheet(&late), None).unwrap();
    // Mean titre 24.66 mL: 0.06 mL less raises the concentration of the titrant.
    let expected = plain.concentration() * (24.66 / 24.60);
    assert!((late.concentration() / expected - 1.0).abs() < 5e-6);
    let inputs = late.formula.inputs();
    let line = late
        .budget
        .lines
        .iter()
        .find(|l| inputs[l.input].group == "place of the end point")
        .unwrap();
    let relative = line.contribution.abs() / late.concentration();
    assert!((relative - 0.02 / 24.60).abs() < 2e-6, "{relative}");
}

#[test]
fn the_result_of_a_diluted_solution_is_that_of_the_undiluted_one() {
    let text = r#"
title = "Vinegar"
[sought]
substance = "acetic acid"
place = "flask"
diluted = [{ take = "pipette 25 mL A", to = "flask 250 mL A" }]
[known]
substance = "NaOH"
concentration = { value = "0.1000 mol/L", exact = true }
[apparatus]
burette = "burette 50 mL A"
pipette = "pipette 25 mL A"
[conditions]
temperature = "20 degC"
[[run]]
initial = "0.00 mL"
final = "20.80 mL"
"#;
    let diluted = evaluate(&sheet(text), None).unwrap();
    assert!((diluted.concentration() / 0.832 - 1.0).abs() < 1e-6);
    // One pipette served twice, so it is one input whose error counts twice: 2 x tolerance/sqrt(6)/25.
    let inputs = diluted.formula.inputs();
    let pipette: Vec<_> = diluted
        .budget
        .lines
        .iter()
        .filter(|l| inputs[l.input].group == "pipette tolerance")
        .collect();
    assert_eq!(pipette.len(), 1);
    let relative = pipette[0].contribution.abs() / diluted.concentration();
    assert!(
        (relative - 2.0 * 0.03 / 6f64.sqrt() / 25.0).abs() < 1e-6,
        "{relative}"
    );
}
