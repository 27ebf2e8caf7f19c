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
