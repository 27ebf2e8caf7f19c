//! Air buoyancy: from a balance reading to a mass, and from the reading of water to a volume.
//!
//! Source: the balance is adjusted with weights of the conventional density 8000 kg/m3 (OIML D 28). Volume of weighed
//! water and the factor Z: ISO 4787, ISO 8655-6.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::air::Air;
use crate::error::{VolumetryError, positive};
use crate::water;

#[derive(Deserialize)]
struct Data {
    weights: Weights,
    substance: Vec<Substance>,
}

#[derive(Deserialize)]
struct Weights {
    density: f64,
    half_width: f64,
}

/// A substance that is weighed, with its density for the buoyancy correction.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Substance {
    /// Name in words.
    pub name: String,
    /// Usual formula.
    pub formula: String,
    /// Other names and formulas it is found by.
    pub also: Vec<String>,
    /// Density, kg/m3.
    pub density: f64,
    /// Half-width of the allowance for it, kg/m3 (common practice).
    pub half_width: f64,
    /// "V": seen in the source; "M": from memory.
    pub mark: String,
}

static DATA: LazyLock<Data> = LazyLock::new(|| {
    crate::embedded::parse(
        "physical/weighed-densities.toml",
        include_str!("../../../reference/physical/weighed-densities.toml"),
    )
});

/// Conventional density of the weights that adjust a balance, kg/m3 (OIML D 28).
#[must_use]
pub fn weight_density() -> f64 {
    DATA.weights.density
}

/// Half-width of the density of the weights, kg/m3 (from memory).
#[must_use]
pub fn weight_density_half_width() -> f64 {
    DATA.weights.half_width
}

/// Density of a substance, by name or formula; capital letters and blanks do not matter.
///
/// # Errors
/// [`VolumetryError::NotKnown`] with the known names.
pub fn substance(name: &str) -> Result<&'static Substance, VolumetryError> {
    let key = |text: &str| text.replace(' ', "").to_lowercase();
    let wanted = key(name);
    DATA.substance
        .iter()
        .find(|s| {
            [&s.name, &s.formula]
                .into_iter()
                .chain(&s.also)
                .any(|known| key(known) == wanted)
        })
        .ok_or_else(|| VolumetryError::NotKnown {
            what: "density of a weighed substance",
            name: name.to_owned(),
            known: DATA.substance.iter().map(|s| s.name.clone()).collect(),
        })
}

/// Factor from a balance reading to the mass of a body.
///
/// # Formula
/// (1 - rho_air / rho_weights) / (1 - rho_air / rho_body)
///
/// # Errors
/// [`VolumetryError::NotPositive`] for a density that is not positive or not above that of the air.
pub fn factor(air: f64, body: f64, weights: f64) -> Result<f64, VolumetryError> {
    positive("the density of the air", air)?;
    positive("the density of the weights", weights)?;
    positive("the density of the body above that of the air", body - air)?;
    Ok((1.0 - air / weights) / (1.0 - air / body))
}

/// The factor Z, mL/g: volume of weighed water at its own temperature divided by the balance reading. It has no glass
/// term, as in the printed tables of ISO 8655-6.
///
/// # Formula
/// Z = 1 / (rho_water - rho_air) (1 - rho_air / rho_weights), densities in g/mL
///
/// # Errors
/// As [`factor`].
pub fn z_factor(water: f64, air: f64, weights: f64) -> Result<f64, VolumetryError> {
    Ok(factor(air, water, weights)? * 1000.0 / water)
}

/// The factor Z, mL/g, as the tables of ISO 8655-6 print it: Tanaka water at `water_temperature_c`, simplified air
/// density, weights of 8000 kg/m3.
///
/// # Errors
/// [`VolumetryError::OutsideRange`] of the two density formulas.
pub fn z_factor_at(water_temperature_c: f64, air: &Air) -> Result<f64, VolumetryError> {
    z_factor(
        water::density(water_temperature_c)?,
        air.density_simplified()?,
        weight_density(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn data_load_and_agree_with_the_convention() {
        assert!((weight_density() - 8000.0).abs() < f64::EPSILON);
        for s in &DATA.substance {
            assert!(
                s.density > 500.0 && s.half_width > 0.0 && !s.mark.is_empty(),
                "{s:?}"
            );
        }
    }

    #[test]
    fn a_substance_is_found_by_any_of_its_names() {
        let a = substance("KHP").unwrap();
        assert_eq!(a, substance("Potassium Hydrogen Phthalate").unwrap());
        assert!(matches!(
            substance("phlogiston"),
            Err(VolumetryError::NotKnown { .. })
        ));
    }

    #[test]
    fn a_body_as_dense_as_the_weights_needs_no_correction() {
        let f = factor(1.2, weight_density(), weight_density()).unwrap();
        assert!((f - 1.0).abs() < f64::EPSILON);
    }

    #[test]
    fn refuses_a_body_that_floats() {
        assert!(factor(1.2, 1.1, 8000.0).is_err());
        assert!(factor(f64::NAN, 1000.0, 8000.0).is_err());
    }
}
