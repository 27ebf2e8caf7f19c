//! Volumes referred to 20 degC.
//!
//! A burette or pipette holds its mark at 20 degC. Used at t it delivers V (1 + gamma (t - 20)), and the liquid so
//! delivered would fill that times rho(t) / rho(20) when it had 20 degC.

use crate::error::VolumetryError;
use crate::glass::{Glass, reference_temperature_c};
use crate::water;

/// Volume at 20 degC of a dilute aqueous solution that was measured as `volume` in glass at `t_c`; any unit of volume.
///
/// # Formula
/// V20 = V (1 + gamma (t - 20)) rho(t) / rho(20)
///
/// Solutions much above 0.1 mol/L, and organic liquids, expand more: see [`volume_at_20_c`].
///
/// # Errors
/// [`VolumetryError::OutsideRange`] outside 0 to 40 degC.
pub fn aqueous_volume_at_20_c(volume: f64, t_c: f64, glass: &Glass) -> Result<f64, VolumetryError> {
    volume_at_20_c(volume, t_c, glass, water::mean_expansion_from_20_c(t_c)?)
}

/// Volume at 20 degC of a liquid of cubic expansion coefficient `liquid_per_k` (1/K, mean between 20 degC and `t_c`)
/// that was measured as `volume` in glass at `t_c`; any unit of volume.
///
/// # Formula
/// V20 = V (1 + gamma (t - 20)) (1 - beta (t - 20))
///
/// # Errors
/// [`VolumetryError::OutsideRange`] outside 0 to 40 degC.
pub fn volume_at_20_c(
    volume: f64,
    t_c: f64,
    glass: &Glass,
    liquid_per_k: f64,
) -> Result<f64, VolumetryError> {
    crate::error::in_range(
        "the temperature of the liquid",
        t_c,
        "degC",
        "the temperature correction",
        [0.0, 40.0],
    )?;
    let dt = t_c - reference_temperature_c();
    Ok(volume * (1.0 + glass.cubic_expansion_per_k * dt) * (1.0 - liquid_per_k * dt))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::glass::borosilicate_3_3;

    #[test]
    fn at_20_degrees_nothing_changes() {
        let v = aqueous_volume_at_20_c(25.0, 20.0, borosilicate_3_3()).unwrap();
        assert!((v - 25.0).abs() < 1e-12);
    }

    #[test]
    fn warm_liquid_counts_less() {
        assert!(aqueous_volume_at_20_c(25.0, 25.0, borosilicate_3_3()).unwrap() < 25.0);
        assert!(aqueous_volume_at_20_c(25.0, 45.0, borosilicate_3_3()).is_err());
    }
}
