//! Ionization of water, its density, and carbon dioxide from the air, against temperature.
//!
//! Source: reference/water/ionization.toml (IAPWS R11-07 in the form of Bandura and Lvov; IAPWS-95 densities; Plummer and
//! Busenberg 1982 for carbon dioxide). Range: 0-100 degC at 0.101325 MPa.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::equilibrium_error::EquilibriumError;
use crate::table::between_points;

/// 0 degC in kelvin.
pub(crate) const ZERO_CELSIUS_K: f64 = 273.15;

#[derive(Debug, Deserialize)]
struct WaterFile {
    a: [f64; 3],
    b: [f64; 3],
    g: [f64; 4],
    ion_number: f64,
    molar_mass_kg: f64,
    density: DensityTable,
    ionization_enthalpy: IonizationEnthalpy,
    carbon_dioxide: CarbonDioxideRecord,
}

#[derive(Debug, Deserialize)]
struct DensityTable {
    temperature_c: Vec<f64>,
    kg_per_m3: Vec<f64>,
}

#[derive(Debug, Deserialize)]
struct IonizationEnthalpy {
    kj_per_mol: f64,
}

#[derive(Debug, Deserialize)]
struct CarbonDioxideRecord {
    henry_equation: [f64; 5],
    air_atm: f64,
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static WATER: LazyLock<WaterFile> = LazyLock::new(|| {
    toml::from_str(include_str!("../../../reference/water/ionization.toml"))
        .expect("reference/water/ionization.toml")
});

/// Negative decadic logarithm of the ionic product of water on the molal scale.
///
/// # Units
/// `temperature_c` in degC.
///
/// # Errors
/// [`EquilibriumError::Temperature`] outside 0-100 degC.
///
/// # Source
/// IAPWS R11-07(2019), Bandura and Lvov 2006; see reference/water/ionization.toml.
///
/// # Example
/// ```
/// let pkw = chemistry::water::pkw(25.0).unwrap();
/// assert!((pkw - 13.9945).abs() < 5e-5);
/// ```
pub fn pkw(temperature_c: f64) -> Result<f64, EquilibriumError> {
    let density = density_kg_per_m3(temperature_c)? / 1000.0;
    Ok(pkw_at_density(temperature_c + ZERO_CELSIUS_K, density))
}

/// The equation behind [`pkw`]: `temperature_k` in K, `density` in g/cm3.
#[must_use]
pub fn pkw_at_density(temperature_k: f64, density: f64) -> f64 {
    let WaterFile {
        a,
        b,
        g,
        ion_number,
        molar_mass_kg,
        ..
    } = &*WATER;
    let t = temperature_k;
    let z = density * (a[0] + a[1] / t + a[2] / (t * t) * density.powf(2.0 / 3.0)).exp();
    let gas = g[0] + g[1] / t + g[2] / (t * t) + g[3] / (t * t * t);
    let bracket = (1.0 + z).log10() - z / (z + 1.0) * density * (b[0] + b[1] / t + b[2] * density);
    -2.0 * ion_number * bracket + gas + 2.0 * molar_mass_kg.log10()
}

/// Density of water at 0.101325 MPa, kg/m3.
///
/// # Errors
/// [`EquilibriumError::Temperature`] outside 0-100 degC.
pub fn density_kg_per_m3(temperature_c: f64) -> Result<f64, EquilibriumError> {
    let table = &WATER.density;
    between_points(&table.temperature_c, &table.kg_per_m3, temperature_c).ok_or(
        EquilibriumError::Temperature {
            what: "the density of water",
            asked: temperature_c,
            lowest: 0.0,
            highest: 100.0,
        },
    )
}

/// Enthalpy of ionization of water at 25 degC, kJ/mol; for the heat of a titration, never to move pKw.
#[must_use]
pub fn ionization_enthalpy_kj_per_mol() -> f64 {
    WATER.ionization_enthalpy.kj_per_mol
}

/// Henry constant of carbon dioxide, mol/(L atm): `[CO2] = K_H p(CO2)`.
///
/// # Errors
/// [`EquilibriumError::Temperature`] outside 0-90 degC.
pub fn carbon_dioxide_henry_constant(temperature_c: f64) -> Result<f64, EquilibriumError> {
    if !(0.0..=90.0).contains(&temperature_c) {
        return Err(EquilibriumError::Temperature {
            what: "the solubility of carbon dioxide",
            asked: temperature_c,
            lowest: 0.0,
            highest: 90.0,
        });
    }
    let t = temperature_c + ZERO_CELSIUS_K;
    let c = &WATER.carbon_dioxide.henry_equation;
    Ok(10f64.powf(c[0] + c[1] * t + c[2] / t + c[3] * t.log10() + c[4] / (t * t)))
}

/// Partial pressure of carbon dioxide in outdoor air, atm (common practice).
#[must_use]
pub fn carbon_dioxide_in_air_atm() -> f64 {
    WATER.carbon_dioxide.air_atm
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of IAPWS R11-07 for 300 K, 1 g/cm3, and four more of coefficient set A.
    #[test]
    fn the_equation_returns_the_check_values() {
        for (t, rho, expected) in [
            (300.0, 1.0, 13.906_565),
            (600.0, 0.07, 21.048_874),
            (600.0, 0.7, 11.203_153),
            (800.0, 0.2, 15.089_765),
            (800.0, 1.2, 6.438_330),
        ] {
            let found = pkw_at_density(t, rho);
            assert!((found - expected).abs() < 6e-7, "{t} K {rho}: {found}");
        }
    }

    /// CRC Handbook, current online edition, table 5-20 (three decimals).
    #[test]
    fn the_handbook_table_is_met() {
        for (t, expected) in [
            (0.0, 14.946),
            (25.0, 13.995),
            (50.0, 13.264),
            (75.0, 12.696),
            (100.0, 12.252),
        ] {
            let found = pkw(t).unwrap();
            assert!((found - expected).abs() < 0.0011, "{t} degC: {found}");
        }
    }

    #[test]
    fn outside_the_table_is_an_error_not_a_number() {
        assert!(matches!(
            pkw(100.1),
            Err(EquilibriumError::Temperature { .. })
        ));
        assert!(matches!(
            pkw(f64::NAN),
            Err(EquilibriumError::Temperature { .. })
        ));
    }

    /// From memory: lg K_H = -1.468 at 25 degC.
    #[test]
    fn carbon_dioxide_dissolves_as_known() {
        let lg = carbon_dioxide_henry_constant(25.0).unwrap().log10();
        assert!((lg + 1.468).abs() < 0.0006, "{lg}");
    }
}
