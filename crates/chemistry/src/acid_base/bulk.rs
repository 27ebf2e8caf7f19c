//! Many curves at once, on all cores.

use rayon::prelude::*;

use super::curve::AcidBaseCurve;
use crate::equilibrium_error::EquilibriumError;

/// pH at every volume (mL) for every curve, calculated on all cores; the order of the curves is kept.
///
/// # Errors
/// The first error of any curve, as [`AcidBaseCurve::ph_at_volumes`].
pub fn ph_of_curves(
    curves: &[AcidBaseCurve],
    volumes_ml: &[f64],
) -> Result<Vec<Vec<f64>>, EquilibriumError> {
    curves
        .par_iter()
        .map(|curve| curve.ph_at_volumes(volumes_ml))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::constant_set::Conditions;
    use crate::solution::Solution;

    #[test]
    fn curves_in_bulk_are_the_curves_one_by_one() {
        let conditions = Conditions::default();
        let curves: Vec<AcidBaseCurve> = (1..=20)
            .map(|i| {
                let flask = Solution::of("H3PO4", 0.005 * f64::from(i));
                AcidBaseCurve::new(&flask, 25.0, &Solution::of("NaOH", 0.1), &conditions).unwrap()
            })
            .collect();
        let volumes: Vec<f64> = (0..=80).map(f64::from).collect();
        let bulk = ph_of_curves(&curves, &volumes).unwrap();
        for (curve, phs) in curves.iter().zip(&bulk) {
            for (volume, ph) in volumes.iter().zip(phs) {
                assert!((curve.ph_at(*volume).unwrap() - ph).abs() < 1e-9);
            }
        }
    }
}
