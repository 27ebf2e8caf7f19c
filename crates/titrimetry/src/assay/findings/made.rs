//! Made-up assay sheets for the tests of the findings.

use super::judge;
use crate::assay::{Assay, AssaySheet, evaluate};
use crate::finding::Finding;
use crate::method::{self, Method};
use crate::rule_profile::RuleProfile;

/// The start of a sheet; repeatability from earlier work, so that nothing is assumed.
pub(super) fn head(method: &str, titrant: &str) -> String {
    format!(
        r#"title = "made up"
method = "{method}"
[titrant]
concentration = {{ value = "{titrant}", u = "0.00001 mol/L" }}
[apparatus]
burette = "burette 50 mL A"
balance = "four-place balance"
[conditions]
temperature = "20 degC"
[repeatability]
s = "0.10 %"
degrees_of_freedom = 12
source = "earlier sets"
"#
    )
}

/// A sample with entries of its own and one run a pair of readings.
pub(super) fn sample(id: &str, entries: &str, runs: &[(&str, &str)]) -> String {
    let mut text = format!("[[sample]]\nid = \"{id}\"\n{entries}\n");
    for (initial, last) in runs {
        text += &format!("[[sample.run]]\ninitial = \"{initial} mL\"\nfinal = \"{last} mL\"\n");
    }
    text
}

/// The same, each run with its mass in g.
pub(super) fn weighed(id: &str, entries: &str, runs: &[(&str, &str, &str)]) -> String {
    let mut text = format!("[[sample]]\nid = \"{id}\"\n{entries}\n");
    for (mass, initial, last) in runs {
        text += &format!(
            "[[sample.run]]\nmass = \"{mass} g\"\ninitial = \"{initial} mL\"\nfinal = \"{last} mL\"\n"
        );
    }
    text
}

pub(super) fn blank(initial: &str, last: &str) -> String {
    format!("[[blank]]\ninitial = \"{initial} mL\"\nfinal = \"{last} mL\"\n")
}

pub(super) fn reagent(name: &str, concentration: &str) -> String {
    format!(
        "[reagent.{name}]\nconcentration = {{ value = \"{concentration}\", u = \"0.00001 mol/L\" }}\n"
    )
}

pub(super) fn by(text: &str, method: &Method) -> Assay {
    let sheet = AssaySheet::read(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    evaluate(&sheet, method, &|_| None).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

pub(super) fn judged_by(text: &str, method: &Method, profile: &str) -> Vec<Finding> {
    let profile = RuleProfile::named(profile).unwrap_or_else(|e| panic!("{e}"));
    judge(&by(text, method), profile)
}

/// Judged by the sheet's method and the rules of the house.
pub(super) fn judged(text: &str) -> Vec<Finding> {
    let sheet = AssaySheet::read(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let name = sheet.method.unwrap_or_default();
    let method = method::find(&name).unwrap_or_else(|e| panic!("{e}"));
    judged_by(text, method, "house")
}

pub(super) fn codes(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().map(|f| f.code).collect()
}

/// The finding of this code.
#[track_caller]
pub(super) fn one<'a>(findings: &'a [Finding], code: &str) -> &'a Finding {
    let mut all = findings.iter().filter(|f| f.code == code);
    match (all.next(), all.next()) {
        (Some(one), None) => one,
        _ => panic!("not one {code} in {findings:#?}"),
    }
}

/// A method whose blank fixes the reagent.
pub(super) fn by_blank() -> Method {
    Method::read(
        r#"
name = "salt-by-blank"
title = "Salt against a blank"
purpose = "check"
version = "1"
family = "precipitation"
end_point = "iron(III)"
reaction = ["Ag+ + Cl- -> AgCl", "Ag+ + SCN- -> AgSCN"]
blank = "reagent"
source = ["check"]
[[analyte]]
species = "Cl-"
name = "chloride"
[titrant]
substance = "potassium thiocyanate"
acts_as = "SCN-"
[[reagent]]
name = "silver"
substance = "silver nitrate"
acts_as = "Ag+"
[[step]]
weigh = { name = "sample" }
[[result]]
name = "salt"
of = ["Cl-"]
as = "NaCl"
basis = "NaCl -> Na+ + Cl-"
unit = "% m/m"
"#,
    )
    .unwrap()
}
