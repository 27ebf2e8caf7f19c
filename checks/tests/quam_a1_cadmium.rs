//! EURACHEM/CITAC Guide CG4 (QUAM), example A1: a cadmium calibration standard.
//!
//! Sources: inputs of the 3rd edition (2012), as worked through in the documentation of GTC; printed summary of the
//! 2nd edition (web version): c = 1002.7 mg/L, u = 0.9 mg/L. Full digits recomputed with GTC 1.5.1, the simulation
//! with numpy 2.4.6 (4e6 trials).

#![allow(clippy::unwrap_used)]

use checks::budget::{
    Worked, assert_printed, assert_simulations_agree, input, normal, rectangular, triangular,
};
use metrology::{Plan, monte_carlo};

/// c = m·P/V.
fn cadmium() -> Worked {
    let m = input("m", 100.28, "mg", normal(0.05));
    let purity = input("P", 0.9999, "1", rectangular(0.0001));
    // Flask, filling, and ±4 K at 2.1e-4 a kelvin.
    let v = input("flask", 100.0, "mL", triangular(0.1))
        + input("filling", 0.0, "mL", normal(0.02))
        + input("temperature", 0.0, "mL", rectangular(0.084));
    Worked::new(&(m * purity / v), "mg/L")
}

#[test]
fn result_and_every_line_of_the_budget() {
    let c = cadmium();
    assert_printed("c", c.budget.value, "1002.69972");
    assert_printed("u", c.budget.standard_uncertainty, "0.8351992");
    c.assert_line(&["m"], "0.499950", "35.832");
    c.assert_line(&["flask"], "0.409350", "24.022");
    c.assert_line(&["filling"], "0.200540", "5.765");
    c.assert_line(&["temperature"], "0.486284", "33.900");
    c.assert_line(&["P"], "0.0578967", "0.481");
    c.assert_line(&["flask", "filling", "temperature"], "0.666525", "63.687");
    let volume = |id: &str| {
        let index = c.formula.input_index(id).unwrap();
        c.formula.inputs()[index].standard_uncertainty()
    };
    let total =
        (volume("flask").powi(2) + volume("filling").powi(2) + volume("temperature").powi(2))
            .sqrt();
    assert_printed("u(V)", total, "0.0664731");
}

#[test]
fn printed_figures() {
    let c = cadmium();
    assert_printed("c", c.budget.value, "1002.7");
    // DIFFERENCE: printed 0.9, from parts rounded to 0.05 mg and 0.07 mL; unrounded it is 0.84.
    let rounded = 1002.7 * (0.0005f64.powi(2) + 0.000_058f64.powi(2) + 0.0007f64.powi(2)).sqrt();
    assert_printed("u from the rounded parts", rounded, "0.9");
    assert_printed("u", c.budget.standard_uncertainty, "0.84");
}

#[test]
fn simulation() {
    let c = cadmium();
    let simulation = monte_carlo(&c.formula, &Plan::default()).unwrap();
    assert_simulations_agree(&simulation, 4e6, [1002.6995, 0.83537, 1001.079, 1004.323]);
}
