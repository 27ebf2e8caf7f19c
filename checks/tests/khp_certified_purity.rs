//! A certified purity of potassium hydrogen phthalate, carried from the certificate to the result.
//!
//! Source: BAM certification report 1170/IX2, acidimetric standard potassium hydrogen phthalate: mass fraction
//! 99.970 % ± 0.070 % with k = 2, from 120 degC drying. The statement is of the usual form: a value, an expanded
//! uncertainty, a coverage factor.

use titrimetry::Sheet;
use titrimetry::evaluation::evaluate;

const SHEET: &str = r#"
title = "Base against certified phthalate"
[sought]
substance = "NaOH"
place = "burette"
[known]
substance = "KHP"
purity = { value = "99.970 %", U = "0.070 %", k = 2, certificate = "certificate of the lot" }
[apparatus]
burette = "burette 50 mL A"
balance = "four-place balance"
[[run]]
mass = "0.5105 g"
initial = "0.00 mL"
final = "24.92 mL"
"#;

#[test]
fn the_statement_enters_as_a_normal_input_with_half_its_expanded_uncertainty() {
    let evaluation = evaluate(&Sheet::read(SHEET).unwrap(), None).unwrap();
    let inputs = evaluation.formula.inputs();
    let line = evaluation
        .budget
        .lines
        .iter()
        .find(|line| inputs[line.input].group == "purity of the standard")
        .unwrap();
    let purity = &inputs[line.input];
    assert_eq!(purity.distribution.name(), "normal");
    assert!(
        (line.standard_uncertainty - 0.035).abs() < 1e-12,
        "in %: U/k"
    );
    // c is proportional to the purity: u(c)/c = 0.035/99.970.
    let relative = line.contribution / evaluation.concentration();
    assert!((relative / (0.035 / 99.970) - 1.0).abs() < 1e-9);
    assert!(purity.origin.describe().contains("certificate of the lot"));
}

#[test]
fn without_a_factor_the_usual_one_is_taken_and_another_is_respected() {
    let relative = |text: &str| {
        let evaluation = evaluate(&Sheet::read(text).unwrap(), None).unwrap();
        let inputs = evaluation.formula.inputs();
        let find = |l: &&metrology::BudgetLine| inputs[l.input].group == "purity of the standard";
        evaluation
            .budget
            .lines
            .iter()
            .find(find)
            .unwrap()
            .standard_uncertainty
    };
    assert!((relative(&SHEET.replace(", k = 2", "")) - 0.035).abs() < 1e-12);
    assert!((relative(&SHEET.replace("k = 2", "k = 1.96")) - 0.070 / 1.96).abs() < 1e-12);
}
