//! Molar masses against an independent program.
//!
//! Source: general-purpose library periodictable 2.1.0, whose table is CIAAW 2021 with the abridged value where the
//! standard atomic weight is an interval; printed with six decimals by `checks/scripts/molar_mass_periodictable.py`.

use chemistry::atomic_weights::AtomicWeights;
use chemistry::formula::Formula;
use chemistry::molar_mass::MolarMass;
use chemistry::substances::Catalogue;

/// Formula, molar mass in g/mol.
#[rustfmt::skip]
const PERIODICTABLE: &[(&str, f64)] = &[
    ("KHC8H4O4", 204.222300),
    ("Na2CO3", 105.987539),
    ("(CH2OH)3CNH2", 121.136000),
    ("C6H5COOH", 122.123000),
    ("H2C2O4.2H2O", 126.064000),
    ("H2C2O4", 90.034000),
    ("Na2B4O7.10H2O", 381.362539),
    ("KH(IO3)2", 389.909240),
    ("NH2SO3H", 97.088000),
    ("NaOH", 39.996769),
    ("KOH", 56.105300),
    ("HCl", 36.458000),
    ("H2SO4", 98.072000),
    ("HNO3", 63.012000),
    ("HClO4", 100.454000),
    ("CH3COOH", 60.052000),
    ("Na2C2O4", 133.997539),
    ("K2Cr2O7", 294.181800),
    ("KIO3", 213.999770),
    ("KBrO3", 166.999300),
    ("As2O3", 197.840190),
    ("KMnO4", 158.032343),
    ("Ce(SO4)2", 332.228000),
    ("(NH4)4Ce(SO4)4.2H2O", 632.526000),
    ("(NH4)2Ce(NO3)6", 548.218000),
    ("Na2S2O3", 158.096539),
    ("Na2S2O3.5H2O", 248.171539),
    ("I2", 253.808940),
    ("Fe(NH4)2(SO4)2.6H2O", 392.125000),
    ("FeSO4.7H2O", 278.006000),
    ("NaCl", 58.439769),
    ("KCl", 74.548300),
    ("Ag", 107.868200),
    ("AgNO3", 169.872200),
    ("KSCN", 97.176300),
    ("NH4SCN", 76.117000),
    ("CaCO3", 100.086000),
    ("Zn", 65.380000),
    ("Na2H2C10H12N2O8.2H2O", 372.237539),
    ("ZnSO4.7H2O", 287.541000),
    ("MgSO4.7H2O", 246.466000),
    ("Na2C4H4O6.2H2O", 230.079539),
    ("H2O", 18.015000),
    ("Na2CO3.10H2O", 286.137539),
    ("K4[Fe(CN)6].3H2O", 422.391200),
    ("KAl(SO4)2.12H2O", 474.371838),
    ("Pb(NO3)2", 331.208000),
    ("Hg2Cl2", 472.084000),
    ("BaSO4", 233.383000),
    ("CuSO4.5H2O", 249.677000),
    ("C6H8O7.H2O", 210.138000),
    ("C4H6O6", 150.086000),
    ("C4H6O5", 134.087000),
    ("C6H8O7", 192.123000),
    ("C3H6O3", 90.078000),
    ("C18H34O2", 282.468000),
    ("C16H32O2", 256.430000),
    ("C12H24O2", 200.322000),
    ("H3BO3", 61.831000),
    ("H3PO4", 97.993762),
    ("NH3", 17.031000),
    ("C9H8O4", 180.159000),
];

fn molar_mass(formula: &str) -> f64 {
    let formula = Formula::parse(formula).expect("a formula");
    MolarMass::of(&formula, AtomicWeights::default_set())
        .expect("a molar mass")
        .value()
}

#[test]
fn molar_masses_agree_to_every_printed_digit() {
    for (formula, printed) in PERIODICTABLE {
        let ours = molar_mass(formula);
        // Half a unit of the sixth decimal, and the rounding of a sum of doubles.
        assert!(
            (ours - printed).abs() <= 0.5e-6 + 1e-12 * printed,
            "{formula}: {ours} against {printed}"
        );
    }
}

#[test]
fn every_substance_of_the_catalogue_is_compared() {
    for substance in Catalogue::embedded().substances() {
        let written = substance.formula.to_string();
        assert!(
            PERIODICTABLE.iter().any(|(f, _)| *f == written),
            "{written} is missing from the comparison"
        );
    }
}

/// Trade figures: 1 mL of a 0.1 mol/L or 1 mol/L titrant and what it stands for, in mg.
///
/// Sources: BP Appendix I B (NaOH VS: 20.42 mg potassium hydrogen phthalate, 12.21 mg benzoic acid for 1 mL of
/// 0.1 mol/L); USP volumetric solutions (40.00 mg NaOH and 49.00 mg H3PO4 for 1 mL of 1 mol/L).
#[test]
fn pharmacopoeial_equivalents_follow() {
    for (formula, concentration, printed, half_digit) in [
        ("KHC8H4O4", 0.1, 20.42, 0.005),
        ("C6H5COOH", 0.1, 12.21, 0.005),
        ("NaOH", 1.0, 40.00, 0.005),
    ] {
        let equivalent = molar_mass(formula) * concentration;
        assert!(
            (equivalent - printed).abs() <= half_digit,
            "{formula}: {equivalent}"
        );
    }
    // Two of the three protons to thymolphthalein.
    assert!((molar_mass("H3PO4") / 2.0 - 49.00).abs() <= 0.005);
}

/// DIFFERENCE: the library counts the electrons that an ion has too many or too few; here, as in the trade, an ion
/// weighs what its atoms weigh. periodictable 2.1.0 gives 96.057097 for SO3O{2-} (11 ppm more) and 96.056000 for SO4.
#[test]
fn an_ion_weighs_what_its_atoms_weigh() {
    assert!((molar_mass("SO4^2-") - 96.056).abs() < 0.5e-6);
}
