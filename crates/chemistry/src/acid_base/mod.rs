//! Acid-base equilibria by the total proton balance: pH of a mixture, and whole titration curves.
//!
//! With one solution in the flask and one in the burette everything but the pH is linear in the volume, so the volume is an
//! explicit function of the pH; at a given volume the pH is the single root of a rising function.

pub mod acids;
pub mod balance;
pub mod bulk;
pub mod curve;
mod equivalence;

use crate::constant_set::Conditions;
use crate::equilibrium_error::EquilibriumError;
use crate::solution::Solution;

/// pH of a solution.
///
/// # Errors
/// As [`curve::AcidBaseCurve::new`].
///
/// # Example
/// ```
/// use chemistry::{acid_base::ph, constant_set::Conditions, solution::Solution};
/// let vinegar = Solution::of("CH3COOH", 0.1);
/// assert!((ph(&vinegar, &Conditions::ideal()).unwrap() - 2.881).abs() < 0.001);
/// ```
pub fn ph(solution: &Solution, conditions: &Conditions) -> Result<f64, EquilibriumError> {
    let curve = curve::AcidBaseCurve::new(solution, 1.0, &Solution::water(), conditions)?;
    curve.ph_at(0.0)
}
