//! What methods of the library must give beside each other: rule tables, hypotheses, conversions, blanks and temperature.
//!
//! The published figures of single methods are met in `published_examples.rs`; the sheets there are changed here.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use titrimetry::assay::{Assay, AssaySheet, evaluate};
use titrimetry::method::{self, Method};

/// The sheet of a method, with texts replaced.
fn sheet(method: &str, changes: &[(&str, &str)]) -> String {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../examples/methods/{method}.toml"));
    let mut text = std::fs::read_to_string(path).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{method} has no {from}");
        text = text.replace(from, to);
    }
    text
}

fn by(method: &Method, text: &str) -> Assay {
    let sheet = AssaySheet::read(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    evaluate(&sheet, method, &|_| None).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn assay(method: &str, changes: &[(&str, &str)]) -> Assay {
    by(method::find(method).unwrap(), &sheet(method, changes))
}

#[track_caller]
fn value(assay: &Assay, result: &str, unit: &str) -> f64 {
    assay.samples[0]
        .results
        .iter()
        .flat_map(|r| std::iter::once(r).chain(&r.also))
        .find(|r| r.name == result && r.unit == unit)
        .unwrap_or_else(|| panic!("no {result} in {unit}"))
        .value
}

/// Species of the analytes of which less than none was found.
fn below_zero(assay: &Assay) -> Vec<&str> {
    let below = &assay.samples[0].below_zero;
    below.iter().map(|b| b.species.as_str()).collect()
}

#[track_caller]
fn near(value: f64, by_hand: f64, relative: f64) {
    assert!(
        (value / by_hand - 1.0).abs() < relative,
        "{value} is not {by_hand}"
    );
}

/// Water by one of the three methods of two end points, 100 mL, P and T in mL.
fn water(method: &str, p: f64, t: f64) -> Assay {
    let text = sheet(
        "water-alkalinity",
        &[
            ("\"water-alkalinity\"", &format!("\"{method}\"")),
            ("30.00 mL", &format!("{p:.2} mL")),
            ("50.00 mL", &format!("{t:.2} mL")),
        ],
    );
    by(method::find(method).unwrap(), &text)
}

/// The rule table of P and T (Standard Methods 2320 B, restated on many public pages): which ions are there, and how much
/// of each as CaCO3. Exactly at P = T/2 and P = T both hypotheses hold within the uncertainty, so neither is refused.
#[test]
fn the_rule_table_of_p_and_t() {
    // P, T, hydroxide, carbonate, hydrogen carbonate (mL of titrant that each takes).
    let rows = [
        (0.0, 20.0, 0.0, 0.0, 20.0),
        (5.0, 20.0, 0.0, 10.0, 10.0),
        (10.0, 20.0, 0.0, 20.0, 0.0),
        (15.0, 20.0, 10.0, 10.0, 0.0),
        (20.0, 20.0, 20.0, 0.0, 0.0),
    ];
    for (p, t, hydroxide, carbonate, hydrogen_carbonate) in rows {
        let per_ml = value(&water("water-alkalinity", p, t), "total alkalinity", "mg/L") / t;
        let lye = water("hydroxide-and-carbonate", p, t);
        let bicarbonate = water("carbonate-and-hydrogen-carbonate", p, t);
        let takes = |assay: &Assay, result: &str, ml: f64| {
            let found = value(assay, result, "mg/L") / per_ml;
            assert!((found - ml).abs() < 1e-9 * t, "{found} {ml}");
        };
        assert_eq!(below_zero(&lye).is_empty(), p >= t / 2.0, "P {p} of {t}");
        assert_eq!(
            below_zero(&bicarbonate).is_empty(),
            p <= t / 2.0,
            "P {p} of {t}"
        );
        if p >= t / 2.0 {
            takes(&lye, "hydroxide alkalinity", hydroxide);
            takes(&lye, "carbonate alkalinity", carbonate);
        }
        if p <= t / 2.0 {
            takes(&bicarbonate, "carbonate alkalinity", carbonate);
            takes(
                &bicarbonate,
                "hydrogen carbonate alkalinity",
                hydrogen_carbonate,
            );
        }
    }
}

/// Below none of an ion is found where the other hypothesis holds, and the evaluation says which one does.
#[test]
fn the_wrong_hypothesis_names_the_right_one() {
    for (wrong, p, ion, right) in [
        (
            "carbonate-and-hydrogen-carbonate",
            30.0,
            "HCO3^-",
            "hydroxide-and-carbonate",
        ),
        (
            "hydroxide-and-carbonate",
            20.0,
            "OH^-",
            "carbonate-and-hydrogen-carbonate",
        ),
    ] {
        let assay = water(wrong, p, 50.0);
        assert_eq!(below_zero(&assay), [ion]);
        let meaning = &assay.samples[0].below_zero[0].meaning;
        assert!(meaning.contains(right), "{meaning}");
    }
    // More in the second step than in the first: no strong acid can be there.
    let changes = [("35.00 mL", "10.00 mL"), ("50.00 mL", "30.00 mL")];
    assert_eq!(
        below_zero(&assay("phosphoric-and-strong-acid", &changes)),
        ["H+"]
    );
    // Blank and sample swapped.
    let changes = [
        ("10.26 mL", "25.7 mL"),
        ("25.65 mL", "10.26 mL"),
        ("25.66 mL", "10.26 mL"),
    ];
    assert_eq!(
        below_zero(&assay("saponification-value", &changes)),
        ["C57H104O6"]
    );
}

/// N/50 of sulfuric acid is 0.01 mol/L of it and takes what 0.02 mol/L of hydrochloric acid does.
#[test]
fn a_normality_means_its_reaction() {
    let h2so4 = "substance = \"H2SO4\"\nconcentration = { value = \"0.02 N\"";
    let alkalinity = |to: &str| {
        let assay = assay("water-alkalinity", &[(h2so4, to)]);
        value(&assay, "total alkalinity, equivalents", "meq/L")
    };
    for titrant in [
        h2so4,
        "substance = \"sulfuric acid\"\nconcentration = { value = \"0.01 mol/L\"",
        "concentration = { value = \"0.02 mol/L\"",
    ] {
        near(alkalinity(titrant), 10.0, 1e-12);
    }
}

/// Sizes in mg/L of CaCO3: 1 °dH 17.848, 1 °f 10, 1 °e 14.254, 1 US grain per gallon 17.118 (FAO hardness glossary; public
/// table of hardness units), five digits, half a unit of the last of which is up to 3.5e-5.
#[test]
fn hardness_in_the_degrees_of_each_country() {
    let water = assay("total-hardness", &[]);
    let milligrams = value(&water, "total hardness", "mg/L");
    for (unit, size) in [
        ("°dH", 17.848),
        ("°fH", 10.0),
        ("°e", 14.254),
        ("gpg (US)", 17.118),
    ] {
        near(
            milligrams / value(&water, "total hardness", unit),
            size,
            4e-5,
        );
    }
    // NEMI 2340B: a titrant of which 1 mL finds 1.0009 mg of CaCO3 (0.40078 mg of Ca); 12.35 mL for 50 mL (arithmetic
    // check of the titer, not a published sample).
    let titer = [("0.0100 mol/L", "0.40078 mg/mL"), ("40.00 mL", "12.35 mL")];
    near(
        value(&assay("total-hardness", &titer), "total hardness", "mg/L"),
        247.2,
        5e-4,
    );
}

/// FAO's factors: 6.38 for milk, 5.70 for wheat flour, 6.25 else.
#[test]
fn protein_factors() {
    let meat = assay("kjeldahl-nitrogen", &[]);
    for factor in [6.25, 5.70, 6.38] {
        let protein = value(&meat, &format!("crude protein, N x {factor:.2}"), "% m/m");
        near(protein / value(&meat, "nitrogen", "% m/m"), factor, 1e-12);
    }
}

/// One Cl2 for one hypochlorite, 70.90 g/mol for 74.44; crystals of thiosulfate over the anhydrous salt 1.56975
/// (periodictable 2.1.0).
#[test]
fn one_amount_on_two_bases() {
    let bleach = assay("available-chlorine", &[]);
    let share = |result: &str| value(&bleach, result, "% m/V");
    near(
        share("available chlorine") / share("sodium hypochlorite"),
        70.90 / 74.44,
        1e-4,
    );
    let salt = assay("thiosulfate-by-iodine", &[]);
    let share = |result: &str| value(&salt, result, "% m/m");
    let crystals = share("sodium thiosulfate pentahydrate");
    near(
        crystals / share("anhydrous sodium thiosulfate"),
        1.569_75,
        5e-6,
    );
}

/// The reagents push sample out of the full bottle: 298 mL of 300 are in it.
#[test]
fn what_is_pushed_out_of_the_bottle_counts() {
    let oxygen = value(&assay("dissolved-oxygen", &[]), "dissolved oxygen", "mg/L");
    let sample = 201.34 * 298.0 / 300.0;
    near(oxygen, 8.20 * 0.025 / 4.0 * 31.998 / sample * 1e3, 1e-5);
}

/// assignmentexpert.com, question 117377 (a problem of Skoog et al.): thallium of 9.76 g, oxidized to Tl(III), drives
/// magnesium out of its EDTA complex; 13.34 mL of 0.03560 M EDTA for the magnesium. Printed: 0.4749e-3 mol, 1.23 % Tl2SO4.
/// The method is one of the user's own.
#[test]
fn displacement_by_magnesium_edta() {
    let thallium = Method::read(
        r#"
name = "thallium-by-displacement"
title = "Thallium by displacement"
purpose = "check"
version = "1"
family = "complexometric"
end_point = "eriochrome black T"
reaction = [
    "Tl^3+ + MgC10H12N2O8^2- -> TlC10H12N2O8^- + Mg^2+",
    "Mg^2+ + H2C10H12N2O8^2- -> MgC10H12N2O8^2- + 2 H+",
]
source = ["public problem"]
[[analyte]]
species = "Tl^3+"
name = "thallium"
[titrant]
substance = "disodium EDTA dihydrate"
acts_as = "H2C10H12N2O8^2-"
[[step]]
weigh = { name = "sample" }
[[result]]
name = "thallium(I) sulfate"
of = ["Tl^3+"]
as = "Tl2SO4"
basis = "Tl2SO4 -> 2 Tl^3+ + SO4^2- + 4 e-"
unit = "% m/m"
[[result]]
name = "thallium"
of = ["Tl^3+"]
unit = "mmol/g"
"#,
    )
    .unwrap();
    let changes = [
        ("0.011639 mol/L", "0.03560 mol/L"),
        ("0.7457 g", "9.7600 g"),
        ("22.57 mL", "13.34 mL"),
    ];
    let assay = by(&thallium, &sheet("zinc-edta", &changes));
    assert_eq!(
        format!("{:.4}", value(&assay, "thallium", "mmol/g") * 9.76),
        "0.4749"
    );
    let sulfate = value(&assay, "thallium(I) sulfate", "% m/m");
    assert_eq!(format!("{sulfate:.2}"), "1.23");
}

/// British Pharmacopoeia 2012, Perchloric Acid VS: Vc = V (1 + 0.0011 (t1 - t2)), t1 at standardization, t2 at the assay.
/// The rule is first order and leaves the glass out. Ours carries both volumes to 20 degC and counts the glass
/// (about 1e-5 a kelvin): for 7 K the two differ by less than (0.0077)^2 + 7e-5 = 1.3e-4.
#[test]
fn perchloric_acid_at_another_temperature() {
    let at = |standardized: &str, used: &str| {
        let concentration = "concentration = { value = \"0.1 N\"";
        let changes = [
            (
                concentration,
                &*format!("standardized_at = \"{standardized} degC\"\n{concentration}"),
            ),
            (
                "temperature = \"20 degC\"",
                &*format!("temperature = \"{used} degC\""),
            ),
        ];
        value(
            &assay("base-by-perchloric-acid", &changes),
            "metronidazole",
            "% m/m",
        )
    };
    let same = at("20.0", "20.0");
    for (t1, t2) in [(20.0, 27.0), (27.0, 20.0), (18.0, 25.0), (25.0, 25.0)] {
        let rule = 1.0 + 0.0011 * (t1 - t2);
        let ours = at(&format!("{t1:.1}"), &format!("{t2:.1}")) / same;
        assert!(
            (ours / rule - 1.0).abs() < 1.3e-4,
            "{t1} {t2}: {ours} {rule}"
        );
    }
}
