//! Assay sheets for published examples: values as printed, glass of the catalogue at 20 degC.
#![allow(dead_code)]
#![allow(clippy::unwrap_used)]

use titrimetry::assay::{Assay, AssaySheet, evaluate};
use titrimetry::method;

/// Evaluates a sheet of one sample by a shipped method. `titrant` is its concentration, `rest` what follows the
/// apparatus: other pieces, reagents, blanks and the sample.
pub(crate) fn assay(method: &str, titrant: &str, burette_ml: u32, rest: &str) -> Assay {
    let text = format!(
        "title = \"published example\"\nmethod = \"{method}\"\n\
         [titrant]\nconcentration = {{ value = \"{titrant}\", exact = true }}\n\
         [conditions]\ntemperature = \"20 degC\"\n\
         [apparatus]\nburette = \"burette {burette_ml} mL A\"\nbalance = \"four-place balance\"\n{rest}"
    );
    evaluate_text(&text)
}

/// Evaluates a whole sheet by the shipped method it names.
pub(crate) fn evaluate_text(text: &str) -> Assay {
    let sheet = AssaySheet::read(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let name = sheet.method.clone().unwrap();
    evaluate(&sheet, method::find(&name).unwrap(), &|_| None)
        .unwrap_or_else(|e| panic!("{e}\n{text}"))
}

/// A sample with one run without mass.
pub(crate) fn titrated(initial: &str, ends: &[&str], last: &str) -> String {
    let ends: Vec<String> = ends.iter().map(|e| format!("\"{e} mL\"")).collect();
    format!(
        "[[sample]]\nid = \"S\"\n[[sample.run]]\ninitial = \"{initial} mL\"\nends = [{}]\nfinal = \"{last} mL\"\n",
        ends.join(", ")
    )
}

/// A sample with one run of a weighed portion.
pub(crate) fn weighed(mass: &str, initial: &str, ends: &[&str], last: &str) -> String {
    format!("{}mass = \"{mass} g\"\n", titrated(initial, ends, last))
}

/// The value of a result, in a unit that the method reports.
pub(crate) fn value(assay: &Assay, result: &str, unit: &str) -> f64 {
    let reported = assay.samples[0]
        .results
        .iter()
        .find(|r| r.name == result)
        .unwrap_or_else(|| panic!("no result {result}"));
    std::iter::once(reported)
        .chain(&reported.also)
        .find(|r| r.unit == unit)
        .unwrap_or_else(|| panic!("{result} is not reported in {unit}"))
        .value
}

/// Asserts that a value, rounded to as many decimals, is what the source prints.
pub(crate) fn assert_printed(value: f64, printed: &str) {
    let decimals = printed.split('.').nth(1).map_or(0, str::len);
    assert_eq!(format!("{value:.decimals$}"), printed, "{value}");
}

/// Species of the analytes of which less than none was found.
pub(crate) fn below_zero(assay: &Assay) -> Vec<&str> {
    assay.samples[0]
        .below_zero
        .iter()
        .map(|b| b.species.as_str())
        .collect()
}
