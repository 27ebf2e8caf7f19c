//! Whether first-order propagation is good enough, judged by simulation (JCGM 101:2008, clause 8).

use super::Simulation;
use crate::coverage::{Coverage, Expanded, expand};
use crate::propagation::Budget;
use serde::Serialize;

/// Comparison of the first-order interval with the simulated one, in the unit of the result.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Validation {
    /// The first-order interval at the probability of the simulation.
    pub first_order: Expanded,
    /// Distance of the lower ends.
    pub lower_difference: f64,
    /// Distance of the upper ends.
    pub upper_difference: f64,
    /// Numerical tolerance δ of the first-order standard uncertainty.
    pub tolerance: f64,
    /// Whether both differences are within the tolerance.
    pub validated: bool,
    /// Whether more trials could not turn the verdict: both differences are further from the tolerance than twice
    /// their standard error, or one of them exceeds it by as much.
    pub settled: bool,
}

/// Compares a budget with a simulation of the same node.
///
/// The first-order interval is value ± k·u with k from Student t at the budget's effective degrees of freedom; the
/// simulated one is the probabilistically symmetric interval. `digits` is the number of significant digits of the
/// standard uncertainty that matter, usually 2. Both must be given in one unit, as they are for one node.
#[must_use]
pub fn validate(budget: &Budget, simulation: &Simulation, digits: usize) -> Validation {
    let first_order = expand(
        budget.value,
        budget.standard_uncertainty,
        budget.effective_degrees_of_freedom,
        Coverage::Probability(simulation.probability),
    );
    let tolerance = numerical_tolerance(budget.standard_uncertainty, digits);
    let lower_difference = (first_order.lower - simulation.symmetric.lower).abs();
    let upper_difference = (first_order.upper - simulation.symmetric.upper).abs();
    let ends = [
        (lower_difference, simulation.symmetric_error.0),
        (upper_difference, simulation.symmetric_error.1),
    ];
    let surely_within = |(difference, error): (f64, f64)| difference + 2.0 * error <= tolerance;
    let surely_beyond = |(difference, error): (f64, f64)| difference - 2.0 * error > tolerance;
    Validation {
        first_order,
        lower_difference,
        upper_difference,
        tolerance,
        validated: ends.iter().all(|end| end.0 <= tolerance),
        settled: ends.into_iter().all(surely_within) || ends.into_iter().any(surely_beyond),
    }
}

/// Numerical tolerance of a standard uncertainty: half of the last place when it is written with so many significant
/// digits (JCGM 101, 7.9.2). 0 for an uncertainty of 0 or one that is not finite.
#[must_use]
pub fn numerical_tolerance(standard_uncertainty: f64, digits: usize) -> f64 {
    if standard_uncertainty == 0.0 || !standard_uncertainty.is_finite() {
        return 0.0;
    }
    let places = digits.clamp(1, 15) - 1;
    // The exponent after rounding: 0.0996 with two digits is 0.10.
    let written = format!("{standard_uncertainty:.places$e}");
    let exponent: i32 = written
        .split_once('e')
        .and_then(|(_, e)| e.parse().ok())
        .unwrap_or(0);
    0.5 * 10f64.powi(exponent - places as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tolerance_is_half_of_the_last_place() {
        // JCGM 101:2008, 7.9.2, examples: 0.000 35 g to two digits gives 0.000 005 g, 2 K to one digit 0.5 K.
        for (u, digits, expected) in [
            (0.000_35, 2, 0.000_005),
            (2.0, 1, 0.5),
            (0.0996, 2, 0.005),
            (0.0994, 2, 0.0005),
            (1234.0, 2, 50.0),
        ] {
            let tolerance = numerical_tolerance(u, digits);
            assert!(
                (tolerance / expected - 1.0).abs() < 1e-14,
                "{u}: {tolerance}"
            );
        }
        assert!(numerical_tolerance(0.0, 2) == 0.0 && numerical_tolerance(f64::NAN, 2) == 0.0);
    }
}
