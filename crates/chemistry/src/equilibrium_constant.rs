//! One equilibrium constant with the conditions it holds at, and how it moves with temperature.

use serde::Deserialize;

use crate::water::ZERO_CELSIUS_K;

/// Molar gas constant, J/(mol K) (exact, SI 2019).
pub(crate) const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// A decadic logarithm of an equilibrium constant, its reference temperature and ionic strength, and its heat data.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EquilibriumConstant {
    /// Decadic logarithm of the constant at the reference temperature.
    pub log10: f64,
    /// Reference temperature, degC.
    pub temperature_c: f64,
    /// Ionic strength at which the constant holds, mol/L (0: thermodynamic).
    pub ionic_strength: f64,
    /// Standard reaction enthalpy, kJ/mol, if published.
    pub enthalpy_kj_per_mol: Option<f64>,
    /// Standard heat capacity change, J/(mol K), if published.
    pub heat_capacity_j_per_mol_k: Option<f64>,
    /// Published equation lg K(T) = c0 + c1 T + c2/T + c3 lg T + c4/T^2, T in K; it takes precedence.
    pub equation: Option<[f64; 5]>,
}

impl EquilibriumConstant {
    /// A constant at 25 degC and ionic strength 0 with nothing known of its temperature dependence.
    #[must_use]
    pub fn at_25_c(log10: f64) -> Self {
        Self {
            log10,
            temperature_c: 25.0,
            ionic_strength: 0.0,
            enthalpy_kj_per_mol: None,
            heat_capacity_j_per_mol_k: None,
            equation: None,
        }
    }

    /// Decadic logarithm at another temperature (degC).
    ///
    /// # Formula
    /// lg K(T) = lg K(T0) + [dH/R (1/T0 - 1/T) + dCp/R (T0/T - 1 + ln(T/T0))] / ln 10, or the published equation.
    /// Without heat data the constant is returned as it is; [`moves_with_temperature`](Self::moves_with_temperature) says so.
    #[must_use]
    pub fn log10_at(&self, temperature_c: f64) -> f64 {
        let (t0, t) = (
            self.temperature_c + ZERO_CELSIUS_K,
            temperature_c + ZERO_CELSIUS_K,
        );
        if let Some(c) = self.equation {
            return c[0] + c[1] * t + c[2] / t + c[3] * t.log10() + c[4] / (t * t);
        }
        let enthalpy = 1000.0 * self.enthalpy_kj_per_mol.unwrap_or(0.0);
        let heat_capacity = self.heat_capacity_j_per_mol_k.unwrap_or(0.0);
        let natural = enthalpy / GAS_CONSTANT * (1.0 / t0 - 1.0 / t)
            + heat_capacity / GAS_CONSTANT * (t0 / t - 1.0 + (t / t0).ln());
        self.log10 + natural / std::f64::consts::LN_10
    }

    /// Whether the temperature dependence is known.
    #[must_use]
    pub fn moves_with_temperature(&self) -> bool {
        self.equation.is_some() || self.enthalpy_kj_per_mol.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// TRIS: pK 8.072 at 25 degC with dH 47.45 kJ/mol and dCp -59 J/(mol K) (Goldberg et al. 2002) against the series of Bates
    /// and Hetzer, J. Phys. Chem. 65 (1961) 667, equation 3: pK = 2981.4/T - 3.5888 + 0.005571 T, 0-50 degC.
    #[test]
    fn heat_data_move_the_constant_as_measured() {
        let tris = EquilibriumConstant {
            enthalpy_kj_per_mol: Some(47.45),
            heat_capacity_j_per_mol_k: Some(-59.0),
            ..EquilibriumConstant::at_25_c(-8.072)
        };
        for temperature_c in [0.0, 10.0, 20.0, 30.0, 40.0, 50.0] {
            let t = temperature_c + 273.15;
            let measured = 2981.4 / t - 3.5888 + 0.005571 * t;
            assert!(
                (tris.log10_at(temperature_c) + measured).abs() < 0.003,
                "{temperature_c}"
            );
        }
        assert!((tris.log10_at(25.0) + 8.072).abs() < 1e-12);
    }
}
