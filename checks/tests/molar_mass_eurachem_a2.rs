//! Molar mass of potassium hydrogen phthalate with its uncertainty, as EURACHEM/CITAC works it out.
//!
//! Source: EURACHEM/CITAC CG4, Quantifying Uncertainty in Analytical Measurement, 2nd ed. 2000 (3rd ed. 2012), example
//! A2, step 3: standardizing sodium hydroxide with potassium hydrogen phthalate. The printed figures by element are
//! from memory; M and u(M) were seen in the 2nd edition.

use chemistry::atomic_weights::AtomicWeights;
use chemistry::formula::Formula;
use chemistry::molar_mass::MolarMass;
use metrology::{Formula as Graph, propagate};

fn phthalate() -> MolarMass {
    let weights = AtomicWeights::named("EURACHEM/CITAC A2").expect("a set of atomic weights");
    let formula = Formula::parse("C8H5O4K").expect("a formula");
    MolarMass::of(&formula, weights).expect("a molar mass")
}

#[test]
fn value_and_uncertainty_are_those_printed() {
    let budget = propagate(&Graph::build(&phthalate().expr()).unwrap());
    assert!((budget.value - 204.2212).abs() <= 0.00005);
    assert!((budget.standard_uncertainty - 0.0038).abs() <= 0.00005);
    // Recomputed from the example's half-widths: sqrt((8 x 8e-4)^2 + (5 x 7e-5)^2 + (4 x 3e-4)^2 + 1e-4^2) / sqrt(3).
    assert!((budget.standard_uncertainty / 3.765_302_1e-3 - 1.0).abs() < 1e-8);
}

#[test]
fn each_element_contributes_what_is_printed() {
    // Symbol, n M(E), its standard uncertainty, and half a unit of the last printed digit of each. Oxygen: the example
    // multiplies the rounded u(O) = 0.00017 by 4, so half a unit of that digit counts four times.
    for (symbol, mass, half_digit, uncertainty, half_digit_of_u) in [
        ("C", 96.0856, 0.00005, 0.0037, 0.00005),
        ("H", 5.0397, 0.00005, 0.00020, 0.000005),
        ("O", 63.9976, 0.00005, 0.00068, 0.00002),
        ("K", 39.0983, 0.00005, 0.000058, 0.0000005),
    ] {
        let phthalate = phthalate();
        let term = phthalate
            .terms()
            .iter()
            .find(|t| t.element.symbol() == symbol)
            .unwrap();
        assert!(
            (term.mass() - mass).abs() <= half_digit,
            "{symbol}: {}",
            term.mass()
        );
        let u = term.standard_uncertainty();
        assert!((u - uncertainty).abs() <= half_digit_of_u, "{symbol}: {u}");
    }
}
