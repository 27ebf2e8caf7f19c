//! Evaluation of assay sheets by methods.

use titrimetry::assay::{AssaySheet, evaluate};
use titrimetry::method;

const VINEGAR: &str = r#"
title = "Pickling vinegar"
method = "vinegar-acidity"
[titrant]
concentration = { value = "0.096 mol/L", U = "0.0002 mol/L" }
[apparatus]
burette = "burette 50 mL A"
[piece]
sample = "pipette 25 mL A"
flask = "flask 250 mL A"
aliquot = "pipette 50 mL A"
[conditions]
temperature = "20 degC"
[[sample]]
id = "V-231"
[[sample.run]]
initial = "0.00 mL"
final = "34.88 mL"
"#;

#[test]
fn a_dilution_chain_is_followed() {
    let sheet = AssaySheet::read(VINEGAR).unwrap();
    let assay = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None).unwrap();
    let result = &assay.samples[0].results[0];
    // Published exercise (forum answer 4.016 g/100 mL with M = 60): 25 mL to 250 mL, 50 mL taken, 34.88 mL of 0.096 mol/L.
    let expected = 0.096 * 34.88 / 50.0 * 10.0 * 60.052 / 10.0;
    assert!(
        (result.value / expected - 1.0).abs() < 1e-5,
        "{} {expected}",
        result.value
    );
    assert_eq!(format!("{:.2}", result.value), "4.02");
    assert_eq!(result.unit, "g/100 mL");
    assert_eq!(
        result.also.len(),
        2,
        "% m/m needs a density and is left out"
    );
    assert!(assay.samples[0].titrations[0].effect_per_ml > 0.0);
}

#[test]
fn impossible_chains_are_refused() {
    let bad = VINEGAR.replace("flask = \"flask 250 mL A\"", "flask = \"flask 10 mL A\"");
    let sheet = AssaySheet::read(&bad).unwrap();
    let error = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("25 mL cannot be made up to 10 mL"),
        "{error}"
    );
}

/// The vinegar method with other lines.
fn changed(replace: &[(&str, &str)]) -> Result<method::Method, String> {
    let text = include_str!("../../../reference/methods/vinegar-acidity.toml");
    let text = replace.iter().fold(text.to_string(), |text, (old, new)| {
        assert!(text.contains(old), "{old}");
        text.replacen(old, new, 1)
    });
    method::Method::read(&text).map_err(|e| e.to_string())
}

#[test]
fn a_declared_recovery_reaches_the_result() {
    let found = |text: &str| {
        let sheet = AssaySheet::read(text).unwrap();
        let assay = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None).unwrap();
        assay.samples[0].results[0].value
    };
    let lossy = VINEGAR.replace(
        "id = \"V-231\"",
        "id = \"V-231\"\nrecovery = { value = \"80 %\", exact = true }",
    );
    assert!((found(&lossy) / found(VINEGAR) * 0.8 - 1.0).abs() < 1e-12);
}

#[test]
fn a_reagent_is_shared_out_with_the_sample() {
    let reagent = |more: &str| {
        format!(
            "[[reagent]]\nname = \"base\"\nsubstance = \"KOH\"\nacts_as = \"OH^-\"\n{more}\n[[step]]"
        )
    };
    let whole = changed(&[("[[step]]", &reagent("measured_by = \"pipette 1 mL A\""))]).unwrap();
    let shared = changed(&[(
        "[[step]]",
        &reagent("measured_by = \"pipette 10 mL A\"\nbefore = \"flask\""),
    )])
    .unwrap();
    let sheet = AssaySheet::read(&VINEGAR.replace("50 mL A\"\n[conditions]", "25 mL A\"\n[reagent.base]\nconcentration = { value = \"0.1 mol/L\", exact = true }\n[conditions]")).unwrap();
    let value = |method: &method::Method| {
        evaluate(&sheet, method, &|_| None).unwrap().samples[0].results[0].value
    };
    // 10 mL in the flask of 250 mL, of which 25 mL are taken, are 1 mL in what is titrated.
    assert!((value(&whole) / value(&shared) - 1.0).abs() < 1e-12);

    for (lines, message) in [
        (
            "measured_by = \"pipette 1 mL A\"\nbefore = \"kettle\"",
            "not the name of a step",
        ),
        ("before = \"flask\"", "only a measured reagent"),
    ] {
        let error = changed(&[("[[step]]", &reagent(lines))]).unwrap_err();
        assert!(error.contains(message), "{error}");
    }
}

#[test]
fn another_titrant_must_give_the_same_species() {
    let titrant = |substance: &str| {
        let text = VINEGAR.replace(
            "[titrant]",
            &format!("[titrant]\nsubstance = \"{substance}\""),
        );
        let sheet = AssaySheet::read(&text).unwrap();
        evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None)
            .map(|assay| assay.samples[0].results[0].value)
            .map_err(|e| e.to_string())
    };
    assert_eq!(titrant("potassium hydroxide"), titrant("NaOH"));
    let error = titrant("HCl").unwrap_err();
    assert!(error.contains("OH"), "{error}");
}

/// Two portions of one solid by back titration: 0.5 and 0.6 g of a sample with 2 mmol/g, 2.5 mmol of silver.
const TWO_PORTIONS: &str = r#"
title = "Salt in butter"
method = "salt-in-food"
[titrant]
concentration = { value = "0.1 mol/L", exact = true }
[reagent.silver]
concentration = { value = "0.1 mol/L", exact = true }
[apparatus]
burette = "burette 50 mL A"
balance = "four-place balance"
[conditions]
temperature = "20 degC"
[repeatability]
s = "0.20 %"
degrees_of_freedom = 8
source = "earlier sets"
[[sample]]
id = "B-1"
[[sample.run]]
mass = "0.5000 g"
initial = "0.00 mL"
final = "15.00 mL"
[[sample.run]]
mass = "0.6000 g"
initial = "0.00 mL"
final = "13.00 mL"
"#;

#[test]
fn different_portions_of_a_back_titration_agree_by_their_content() {
    // 25.00 - 15.00 = 10.00 mL for 0.5 g, 12.00 mL for 0.6 g: both 2.000 mmol/g, 11.69 % NaCl.
    let sheet = AssaySheet::read(TWO_PORTIONS).unwrap();
    let assay = evaluate(&sheet, method::find("salt-in-food").unwrap(), &|_| None).unwrap();
    let sample = &assay.samples[0];
    assert_eq!(format!("{:.2}", sample.results[0].value), "11.69");
    let observed = sample.titrations[0].scatter.observed.unwrap();
    assert!(observed < 1e-6, "{observed}");
    for run in &sample.runs {
        assert!((run.expected_titre.unwrap() - run.titres[0]).abs() < 1e-4);
    }
    // No scatter seen (one degree of freedom) and 0.2 % from earlier (eight) pool to 0.2 % sqrt(8/9) of one titre, over
    // sqrt(2) for the mean: 0.13333 %. The content changes by mean(V/m) / mean((25 - V)/m) = 25.833/20 of that: 0.1722 %.
    let result = &sample.results[0];
    let scatter = result
        .budget
        .lines
        .iter()
        .find(|line| result.formula.inputs()[line.input].group == "repeatability")
        .unwrap();
    let share = scatter.contribution.abs() / result.budget.value;
    assert!((share / 0.0017222 - 1.0).abs() < 2e-4, "{share}");
    // Burette 0.05 mL and pipette 0.03 mL, triangular (half-widths over sqrt(6)), of 10 mL for 0.5 g and 12 mL for 0.6 g:
    // mean(1/m) / 20 mL/g = 0.091667 per mL: 0.1871 % and 0.1123 %; with the scatter 0.278 %.
    let u = result.standard_uncertainty / result.value;
    assert!((u / 0.00278 - 1.0).abs() < 0.02, "{u}");
    // 0.10 mL more in the second: 11.90 mL for 0.6 g. Mean content 1.99167 mmol/g: 15.0417 and 13.0500 mL would agree.
    let sheet = AssaySheet::read(&TWO_PORTIONS.replace("13.00", "13.10")).unwrap();
    let assay = evaluate(&sheet, method::find("salt-in-food").unwrap(), &|_| None).unwrap();
    for (run, expected) in assay.samples[0].runs.iter().zip([15.0417, 13.05]) {
        assert!(
            (run.expected_titre.unwrap() - expected).abs() < 1e-4,
            "{run:?}"
        );
    }
}
