//! EURACHEM/CITAC Guide CG4 (QUAM), example A2: sodium hydroxide standardized against potassium hydrogen phthalate.
//!
//! Sources: inputs of the 3rd edition (2012), as worked through in the documentation of GTC, which prints
//! u = 0.000100500722124; printed summary of the 2nd edition (web version): 0.10214, u 0.00010, u/c 0.00097. The
//! expanded uncertainty 0.0002 is from memory. Atomic weights are those of that edition. Full digits recomputed with
//! GTC 1.5.1, the simulation with numpy 2.4.6 (4e6 trials).

#![allow(clippy::unwrap_used)]

use checks::budget::{
    Worked, assert_printed, assert_simulations_agree, input, normal, rectangular, triangular,
};
use metrology::{Coverage, Expr, Plan, expand, monte_carlo, validate};

const ELEMENTS: [&str; 4] = ["C", "H", "O", "K"];

/// Molar mass of C8H5O4K; the atoms of one element are one quantity, so their number is a factor.
fn molar_mass() -> Expr {
    let element = |id, value, half_width| input(id, value, "g/mol", rectangular(half_width));
    element("C", 12.0107, 0.0008) * 8.0
        + element("H", 1.00794, 0.00007) * 5.0
        + element("O", 15.9994, 0.0003) * 4.0
        + element("K", 39.0983, 0.0001)
}

/// c = R·m·P/(M·V).
fn sodium_hydroxide() -> Worked {
    let repeatability = input("R", 1.0, "1", normal(0.0005));
    // The linearity of the balance enters for the tare and for the gross reading.
    let mass = input("m", 0.3888, "g", metrology::Distribution::Exact)
        + input("gross", 0.0, "g", rectangular(0.15e-3))
        - input("tare", 0.0, "g", rectangular(0.15e-3));
    let purity = input("P", 1.0, "1", rectangular(0.0005));
    let volume = input("burette", 18.64, "mL", triangular(0.03))
        + input("temperature", 0.0, "mL", normal(0.006));
    let c = repeatability * mass * purity / (molar_mass() * volume);
    Worked::new(&c, "mol/L")
}

#[test]
fn result_and_every_line_of_the_budget() {
    let c = sodium_hydroxide();
    assert_printed("c", c.budget.value, "0.1021361597");
    assert_printed("u", c.budget.standard_uncertainty, "1.0050072e-4");
    c.assert_line(&["R"], "5.106808e-5", "25.8203");
    c.assert_line(&["gross", "tare"], "3.217354e-5", "10.2485");
    assert_printed("gross", c.contribution(&["gross"]), "2.275013e-5");
    assert_printed("tare", c.contribution(&["tare"]), "2.275013e-5");
    c.assert_line(&["P"], "2.948417e-5", "8.6068");
    c.assert_line(&ELEMENTS, "1.883122e-6", "0.0351");
    assert_printed("C", c.contribution(&["C"]), "1.847983e-6");
    assert_printed("H", c.contribution(&["H"]), "1.010616e-7");
    assert_printed("O", c.contribution(&["O"]), "3.464969e-7");
    assert_printed("K", c.contribution(&["K"]), "2.887474e-8");
    c.assert_line(&["burette"], "6.710876e-5", "44.5882");
    c.assert_line(&["temperature"], "3.287645e-5", "10.7012");
    c.assert_line(&["burette", "temperature"], "7.472916e-5", "55.2894");
}

#[test]
fn sensitivities() {
    let c = sodium_hydroxide();
    let sensitivity = |id: &str| {
        let index = c.formula.input_index(id).unwrap();
        let line = c.budget.lines.iter().find(|l| l.input == index).unwrap();
        line.sensitivity
    };
    assert_printed("R", sensitivity("R"), "0.10213616");
    assert_printed("m", sensitivity("gross"), "0.26269588");
    assert_printed("P", sensitivity("P"), "0.10213616");
    assert_printed("K", sensitivity("K"), "-5.0012516e-4");
    assert_printed("V", sensitivity("burette"), "-5.4794077e-3");
}

#[test]
fn molar_mass_of_the_standard() {
    let m = Worked::new(&molar_mass(), "g/mol");
    assert_printed("M", m.budget.value, "204.2212");
    assert_printed("u(M)", m.budget.standard_uncertainty, "3.7653021e-3");
}

#[test]
fn printed_figures() {
    let c = sodium_hydroxide();
    let u = c.budget.standard_uncertainty;
    assert_printed("c", c.budget.value, "0.10214");
    assert_printed("u", u, "0.00010");
    assert_printed("u in GTC's documentation", u, "0.000100500722124");
    let expanded = expand(c.budget.value, u, f64::INFINITY, Coverage::Factor(2.0));
    assert_printed("U", expanded.expanded_uncertainty, "0.0002");
    assert_printed("U", expanded.expanded_uncertainty, "2.01001e-4");
    // DIFFERENCE: u/c is printed as 0.00097, the quadrature of the rounded relative column; unrounded it is 0.00098.
    let rounded = [0.0005f64, 0.000_33, 0.000_29, 0.000_019, 0.0007];
    let rounded = rounded.iter().map(|x| x * x).sum::<f64>().sqrt();
    assert_printed("u/c from the rounded parts", rounded, "0.00097");
    assert_printed("u/c", u / c.budget.value, "9.83988e-4");
}

#[test]
fn simulation() {
    let c = sodium_hydroxide();
    let simulation = monte_carlo(&c.formula, &Plan::default()).unwrap();
    assert_simulations_agree(
        &simulation,
        4e6,
        [0.102_136_09, 1.005_32e-4, 0.101_940_33, 0.102_331_86],
    );
    // First order is good enough here: its interval differs by 1.2e-6 mol/L and the tolerance is 5e-6.
    let validation = validate(&c.budget, &simulation, 2);
    assert!(validation.validated && validation.settled, "{validation:?}");
    assert_printed("first order", validation.first_order.lower, "0.10193918");
    assert_printed("first order", validation.first_order.upper, "0.10233314");
}
