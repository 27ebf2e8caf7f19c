//! GUM H.1: calibration of an end gauge.
//!
//! Sources: JCGM 100:2008, annex H.1; inputs and 50 000 838(32) nm, 50 000 838(34) nm with second order, as worked
//! through in the documentation of GTC. From memory: u(d) 9.7 nm, ν(d) 25.6, u(θ) 0.41 °C, νeff 16, t99 2.92, U99
//! 93 nm, second-order terms 11.7 nm and 1.7 nm. Full digits recomputed with GTC 1.5.1.

#![allow(clippy::unwrap_used)]

use checks::budget::{Worked, assert_printed, normal, plain_input, rectangular};
use metrology::{
    Coverage, Distribution, Expr, Formula, Plan, expand, monte_carlo, propagate, propagate_to,
};

/// Lengths are kept in mm and compared in nm.
const NM: f64 = 1e-6;

fn length(id: &str, nm: f64, u: f64, dof: f64) -> Expr {
    let input = plain_input(id, nm * NM, "mm", normal(u * NM));
    Expr::input(input.with_degrees_of_freedom(dof))
}

fn other(id: &str, value: f64, unit: &str, distribution: Distribution, dof: f64) -> Expr {
    Expr::input(plain_input(id, value, unit, distribution).with_degrees_of_freedom(dof))
}

/// l = ls + d - ls·(δα·θ + αs·δθ).
fn end_gauge() -> Worked {
    let known = f64::INFINITY;
    let standard = length("ls", 50_000_623.0, 25.0, 18.0);
    let difference = (length("d0", 215.0, 5.8, 24.0)
        + length("d1", 0.0, 3.9, 5.0)
        + length("d2", 0.0, 6.7, 8.0))
    .named("d", "difference of the lengths")
    .in_unit("mm".parse().unwrap());
    let theta = (other("θ mean", -0.1, "K", normal(0.2), known)
        + other(
            "Δ",
            0.0,
            "K",
            Distribution::Arcsine { half_width: 0.5 },
            known,
        ))
    .named("θ", "deviation of the bench from 20 °C");
    let alpha = other("αs", 11.5e-6, "1/K", rectangular(2e-6), known);
    let delta_alpha = other("δα", 0.0, "1/K", rectangular(1e-6), 50.0);
    let delta_theta = other("δθ", 0.0, "K", rectangular(0.05), 2.0);
    let expansion = delta_alpha * theta + alpha * delta_theta;
    Worked::new(
        &(standard.clone() + difference - standard * expansion),
        "mm",
    )
}

#[test]
fn result_and_every_line_of_the_budget() {
    let l = end_gauge();
    assert_printed("l", l.budget.value / NM, "50000838");
    let u = l.budget.standard_uncertainty / NM;
    assert_printed("u", u, "31.663879");
    assert_printed("u", u, "32");
    for (id, contribution) in [
        ("ls", "25"),
        ("d0", "5.8"),
        ("d1", "3.9"),
        ("d2", "6.7"),
        ("δα", "2.8867873"),
        ("δθ", "16.599027"),
    ] {
        assert_printed(id, l.contribution(&[id]) / NM, contribution);
    }
    for id in ["αs", "θ mean", "Δ"] {
        assert!(l.contribution(&[id]) < 1e-12 * NM, "{id}");
    }
    assert_eq!(l.budget.lines.len(), 9);
}

#[test]
fn intermediate_quantities() {
    let l = end_gauge();
    let node = |symbol: &str| propagate_to(&l.formula, l.formula.node_index(symbol).unwrap());
    let d = node("d");
    assert_printed("u(d)", d.standard_uncertainty / NM, "9.681942");
    assert_printed("u(d)", d.standard_uncertainty / NM, "9.7");
    assert_printed("ν(d)", d.effective_degrees_of_freedom, "25.4473");
    // DIFFERENCE: ν(d) is printed as 25.6, which follows from u(d) rounded to 9.7.
    let from_rounded = d.effective_degrees_of_freedom * (9.7 * NM / d.standard_uncertainty).powi(4);
    assert_printed("ν(d) from the rounded u", from_rounded, "25.6");
    let theta = node("θ");
    assert_printed("u(θ)", theta.standard_uncertainty, "0.4062019");
    assert_printed("u(θ)", theta.standard_uncertainty, "0.41");
}

#[test]
fn expanded_uncertainty() {
    let l = end_gauge();
    let dof = l.budget.effective_degrees_of_freedom;
    assert_printed("νeff", dof, "16.7519");
    // The guide takes the degrees of freedom down to the next whole number.
    let (y, u) = (l.budget.value / NM, l.budget.standard_uncertainty / NM);
    let expanded = expand(y, u, dof.floor(), Coverage::Probability(0.99));
    assert_printed("t99(16)", expanded.coverage_factor, "2.92078");
    assert_printed("t99(16)", expanded.coverage_factor, "2.92");
    assert_printed("U99", expanded.expanded_uncertainty, "92.483");
    let from_rounded = expand(y, 32.0, 16.0, Coverage::Probability(0.99));
    assert_printed("U99 from u = 32", from_rounded.expanded_uncertainty, "93");
    // Our own interval uses the fractional ones and is a little narrower.
    let ours = expand(y, u, dof, Coverage::Probability(0.99));
    assert!(ours.expanded_uncertainty < expanded.expanded_uncertainty);
}

#[test]
fn simulation_shows_the_second_order() {
    let l = end_gauge();
    let simulation = monte_carlo(&l.formula, &Plan::default()).unwrap();
    // u with the terms of second order, 33.806545 nm; the standard error of a simulated u of nearly normal values.
    let (u, n) = (33.806545, simulation.trials as f64);
    let away = (simulation.standard_uncertainty / NM - u) / (u / (2.0 * n).sqrt());
    assert!(away.abs() < 5.0, "{away}");
    assert_printed(
        "u with second order",
        simulation.standard_uncertainty / NM,
        "34",
    );
    // The two terms, each alone. Standard error of a simulated u where the kurtosis is below 9.
    let allowed = |u: f64| 5.0 * u * (2.0 / n).sqrt();
    for (inputs, u, printed) in [
        (["δα", "θ mean", "Δ"], 11.726186, "11.7"),
        (["αs", "δθ", ""], 1.666687, "1.7"),
    ] {
        let alone = second_order(&only(&l.formula, &inputs));
        assert!((alone - u).abs() < allowed(u), "{alone} {u}");
        assert_printed("second order", alone, printed);
    }
}

/// The formula with only some inputs uncertain, and the rest where their first-order contribution is 0.
fn only(formula: &Formula, inputs: &[&str]) -> Formula {
    formula
        .with_inputs(|input| {
            let mut input = input.clone();
            if !inputs.contains(&input.id.as_str()) {
                input.distribution = Distribution::Exact;
            }
            if ["θ mean", "αs"].contains(&input.id.as_str()) {
                input.value = 0.0;
            }
            Some(input)
        })
        .unwrap()
}

/// Simulated standard uncertainty of a formula whose first-order one is 0, in nm.
fn second_order(formula: &Formula) -> f64 {
    assert!(propagate(formula).standard_uncertainty < 1e-12 * NM);
    let simulation = monte_carlo(formula, &Plan::default()).unwrap();
    simulation.standard_uncertainty / NM
}
