//! Activity coefficients of ions from charge, size and ionic strength.
//!
//! Source: reference/activity/ (A and B of Freeze and Cherry 1979, Kielland's ion sizes). All coefficients depend on the
//! composition through the ionic strength alone, which is what lets the solver reduce them to one bracketed unknown.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::equilibrium_error::EquilibriumError;
use crate::table::between_points;

/// Which equation gives the activity coefficients.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum ActivityModel {
    /// All coefficients are 1: concentrations stand in the constants.
    None,
    /// Extended Debye-Hueckel equation with an ion size for each ion; good to about 0.1 mol/L.
    ExtendedDebyeHueckel,
    /// Davies equation; good to about 0.5 mol/L.
    #[default]
    Davies,
}

/// An activity model at one temperature, ready to be evaluated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Activity {
    /// The equation.
    pub model: ActivityModel,
    /// Debye-Hueckel A, (L/mol)^(1/2), decadic.
    pub a: f64,
    /// Debye-Hueckel B, (L/mol)^(1/2) per angstrom.
    pub b: f64,
    /// Davies's linear coefficient, L/mol.
    pub davies_linear: f64,
    /// Coefficient k of lg g = k I for uncharged species, L/mol; 0 by default.
    pub neutral_linear: f64,
}

impl Activity {
    /// The model with A and B at `temperature_c` (degC).
    ///
    /// # Errors
    /// [`EquilibriumError::Temperature`] outside 0-60 degC unless the model is `None`.
    pub fn at(model: ActivityModel, temperature_c: f64) -> Result<Self, EquilibriumError> {
        let file = &*DEBYE_HUECKEL;
        let parameter = |values: &[f64]| between_points(&file.temperature_c, values, temperature_c);
        let (a, b) = match (model, parameter(&file.a), parameter(&file.b_per_angstrom)) {
            (_, Some(a), Some(b)) => (a, b),
            (ActivityModel::None, ..) => (0.0, 0.0),
            _ => {
                return Err(EquilibriumError::Temperature {
                    what: "the Debye-Hueckel slope",
                    asked: temperature_c,
                    lowest: 0.0,
                    highest: 60.0,
                });
            }
        };
        Ok(Self {
            model,
            a,
            b,
            davies_linear: file.davies.c,
            neutral_linear: 0.0,
        })
    }

    /// Natural logarithm of the activity coefficient.
    ///
    /// # Units
    /// `size` in angstrom, `ionic_strength` in mol/L.
    #[must_use]
    #[inline]
    pub fn ln_gamma(&self, charge: i32, size: f64, ionic_strength: f64) -> f64 {
        const LN_10: f64 = std::f64::consts::LN_10;
        if self.model == ActivityModel::None {
            return 0.0;
        }
        if charge == 0 {
            return LN_10 * self.neutral_linear * ionic_strength;
        }
        let z2 = f64::from(charge * charge);
        let root = ionic_strength.sqrt();
        let shape = match self.model {
            ActivityModel::None => 0.0,
            ActivityModel::ExtendedDebyeHueckel => root / (1.0 + self.b * size * root),
            ActivityModel::Davies => root / (1.0 + root) - self.davies_linear * ionic_strength,
        };
        -LN_10 * self.a * z2 * shape
    }

    /// Ionic strength (mol/L) above which the model is no longer trusted (common practice); `None` for no model.
    #[must_use]
    pub fn highest_ionic_strength(&self) -> Option<f64> {
        match self.model {
            ActivityModel::None => None,
            ActivityModel::ExtendedDebyeHueckel => {
                Some(DEBYE_HUECKEL.extended.highest_ionic_strength)
            }
            ActivityModel::Davies => Some(DEBYE_HUECKEL.davies.highest_ionic_strength),
        }
    }
}

/// Ion size parameter of a species in angstrom; the Bates-Guggenheim value for an ion that the table lacks.
#[must_use]
pub fn ion_size(label: &str) -> f64 {
    ION_SIZES
        .size
        .get(label)
        .copied()
        .unwrap_or(ION_SIZES.default)
}

#[derive(Debug, Deserialize)]
struct DebyeHueckelFile {
    temperature_c: Vec<f64>,
    a: Vec<f64>,
    b_per_angstrom: Vec<f64>,
    davies: DaviesRecord,
    extended: RangeRecord,
}

#[derive(Debug, Deserialize)]
struct DaviesRecord {
    c: f64,
    highest_ionic_strength: f64,
}

#[derive(Debug, Deserialize)]
struct RangeRecord {
    highest_ionic_strength: f64,
}

#[derive(Debug, Deserialize)]
struct IonSizeFile {
    default: f64,
    size: BTreeMap<String, f64>,
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static DEBYE_HUECKEL: LazyLock<DebyeHueckelFile> = LazyLock::new(|| {
    toml::from_str(include_str!(
        "../../../reference/activity/debye-hueckel.toml"
    ))
    .expect("reference/activity/debye-hueckel.toml")
});

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static ION_SIZES: LazyLock<IonSizeFile> = LazyLock::new(|| {
    toml::from_str(include_str!("../../../reference/activity/ion-sizes.toml"))
        .expect("reference/activity/ion-sizes.toml")
});

#[cfg(test)]
mod tests {
    use super::*;

    /// Coefficients printed by Freeze and Cherry (1979), Appendix IV, two or three decimals.
    #[test]
    fn the_extended_equation_returns_the_printed_coefficients() {
        let model = Activity::at(ActivityModel::ExtendedDebyeHueckel, 25.0).unwrap();
        let strengths = [0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1];
        for (charge, size, printed) in [
            (
                1,
                3.0,
                [0.975, 0.964, 0.945, 0.925, 0.899, 0.85, 0.805, 0.755],
            ),
            (
                1,
                4.0,
                [0.975, 0.964, 0.947, 0.928, 0.902, 0.86, 0.82, 0.775],
            ),
            (
                1,
                9.0,
                [0.975, 0.967, 0.950, 0.933, 0.914, 0.88, 0.86, 0.83],
            ),
            (
                2,
                4.5,
                [0.903, 0.867, 0.805, 0.742, 0.665, 0.55, 0.455, 0.37],
            ),
            (
                2,
                6.0,
                [0.905, 0.870, 0.809, 0.749, 0.675, 0.57, 0.485, 0.405],
            ),
            (
                3,
                9.0,
                [0.802, 0.738, 0.632, 0.54, 0.445, 0.325, 0.245, 0.18],
            ),
        ] {
            for (strength, expected) in strengths.into_iter().zip(printed) {
                let found = model.ln_gamma(charge, size, strength).exp();
                // the source rounds to 0.005 from 0.025 mol/L on
                assert!(
                    (found - expected).abs() <= 0.006,
                    "{charge} {size} {strength}: {found} {expected}"
                );
            }
        }
    }

    #[test]
    fn every_ion_size_is_a_species_with_a_charge() {
        for (label, size) in &ION_SIZES.size {
            assert_ne!(crate::species::charge(label).unwrap(), 0, "{label}");
            assert!((1.0..=12.0).contains(size), "{label}: {size}");
        }
        assert!((ion_size("H+") - 9.0).abs() < 1e-12);
        assert!((ion_size("HPht-") * 0.3281 - 1.5).abs() < 0.001);
    }
}
