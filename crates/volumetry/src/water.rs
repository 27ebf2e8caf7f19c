//! Density of water from 0 to 40 degC at ordinary pressure.
//!
//! Source: Tanaka, Girard, Davis, Peuto, Bignell, "Recommended table for the density of water between 0 degC and
//! 40 degC based on recent experimental reports", Metrologia 38 (2001) 301-309; coefficients and marks in
//! `reference/physical/water-density.toml`.

use std::sync::LazyLock;

use metrology::{Distribution, Expr, Input, Origin, Quantity};
use serde::Deserialize;

use crate::error::{VolumetryError, in_range};
use crate::units;

#[derive(Deserialize)]
struct Data {
    source: String,
    temperature_min_c: f64,
    temperature_max_c: f64,
    coefficients: Coefficients,
    formula_uncertainty: FormulaUncertainty,
    air_saturation: AirSaturation,
    ordinary_water: OrdinaryWater,
    dilute_solution: DiluteSolution,
}

#[derive(Clone, Copy, Deserialize)]
struct Coefficients {
    a1: f64,
    a2: f64,
    a3: f64,
    a4: f64,
    a5: f64,
}

#[derive(Deserialize)]
struct FormulaUncertainty {
    coverage_factor: f64,
    b: [f64; 5],
}

#[derive(Deserialize)]
struct AirSaturation {
    c0: f64,
    c1: f64,
    temperature_max_c: f64,
}

#[derive(Deserialize)]
struct OrdinaryWater {
    half_width: f64,
    source: String,
}

#[derive(Deserialize)]
struct DiluteSolution {
    expansion_relative_half_width: f64,
}

static DATA: LazyLock<Data> = LazyLock::new(|| {
    crate::embedded::parse(
        "physical/water-density.toml",
        include_str!("../../../reference/physical/water-density.toml"),
    )
});

const FORMULA: &str = "the water density formula";

/// Density of air-free water at 101.325 kPa.
///
/// # Formula
/// rho = a5 \[1 - (t + a1)^2 (t + a2) / (a3 (t + a4))\]
///
/// # Units
/// `t_c` in degC, result in kg/m3.
///
/// # Errors
/// [`VolumetryError::OutsideRange`] outside 0 to 40 degC.
pub fn density(t_c: f64) -> Result<f64, VolumetryError> {
    in_range(
        "the water temperature",
        t_c,
        "degC",
        FORMULA,
        [DATA.temperature_min_c, DATA.temperature_max_c],
    )?;
    let Coefficients { a1, a2, a3, a4, a5 } = DATA.coefficients;
    Ok(a5 * (1.0 - (t_c + a1).powi(2) * (t_c + a2) / (a3 * (t_c + a4))))
}

/// Change of the density when the water is saturated with air, kg/m3 (negative). Stated for 0 to 25 degC.
///
/// # Errors
/// [`VolumetryError::OutsideRange`] outside 0 to 25 degC.
pub fn air_saturation(t_c: f64) -> Result<f64, VolumetryError> {
    let air = &DATA.air_saturation;
    in_range(
        "the water temperature",
        t_c,
        "degC",
        "the term for dissolved air",
        [DATA.temperature_min_c, air.temperature_max_c],
    )?;
    Ok(air.c0 + air.c1 * t_c)
}

/// Standard uncertainty of the formula itself, kg/m3, for water of known isotopic composition and exactly known `t_c`.
///
/// # Errors
/// [`VolumetryError::OutsideRange`] outside 0 to 40 degC.
pub fn formula_uncertainty(t_c: f64) -> Result<f64, VolumetryError> {
    density(t_c)?;
    let data = &DATA.formula_uncertainty;
    let expanded = data.b.iter().rev().fold(0.0, |sum, b| sum * t_c + b);
    Ok(expanded / data.coverage_factor)
}

/// Half-width of the allowance for isotopes, dissolved air and purity of ordinary laboratory water, kg/m3
/// (common practice).
#[must_use]
pub fn ordinary_water_half_width() -> f64 {
    DATA.ordinary_water.half_width
}

/// Mean cubic expansion coefficient of water between 20 degC and `t_c`, per kelvin: the number beta for which
/// rho(t) = rho(20 degC) (1 - beta (t - 20 degC)); at 20 degC its limit there.
///
/// # Errors
/// [`VolumetryError::OutsideRange`] outside 0 to 40 degC.
pub fn mean_expansion_from_20_c(t_c: f64) -> Result<f64, VolumetryError> {
    let rho = density(t_c)?;
    let rho_20 = density(20.0)?;
    let dt = t_c - 20.0;
    // Below a hundredth of a kelvin the difference quotient loses digits; the central one around 20 degC is its limit.
    if dt.abs() < 0.01 {
        return Ok((density(19.99)? - density(20.01)?) / (0.02 * rho_20));
    }
    Ok((1.0 - rho / rho_20) / dt)
}

/// How far the expansion coefficient of an aqueous solution of about 0.1 mol/L may differ from that of water, relative
/// half-width (common practice).
#[must_use]
pub fn dilute_solution_relative_half_width() -> f64 {
    DATA.dilute_solution.expansion_relative_half_width
}

/// The density as a formula of the temperature, with the allowance for ordinary laboratory water.
pub(crate) fn density_expr(t: Expr) -> Expr {
    let Coefficients { a1, a2, a3, a4, a5 } = DATA.coefficients;
    let number = Expr::number;
    let theta = ((t - Expr::constant(Quantity::new(0.0, units::deg_c())))
        / Expr::constant(Quantity::new(1.0, units::kelvin())))
    .named("θ", "temperature of the water in degC, as a number");
    let pure = Expr::constant(Quantity::new(a5, units::kg_per_m3()))
        * (number(1.0)
            - (theta.clone() + number(a1)).power(2) * (theta.clone() + number(a2))
                / (number(a3) * (theta + number(a4))));
    let allowance = Input::new("water/purity", "δρ", Quantity::new(0.0, units::kg_per_m3()))
        .described("isotopes, dissolved air and purity of the water")
        .distributed(Distribution::Rectangular {
            half_width: DATA.ordinary_water.half_width,
        })
        .from_origin(Origin::Assumption(DATA.ordinary_water.source.clone()))
        .grouped("density of water");
    (pure + Expr::input(allowance))
        .named("ρ_W", "density of the water")
        .in_unit(units::kg_per_m3())
}

/// The publication that the formula is taken from.
#[must_use]
pub fn source() -> &'static str {
    &DATA.source
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_what_is_outside_the_range() {
        for t in [-0.1, 40.1, f64::NAN, f64::INFINITY] {
            assert!(matches!(
                density(t),
                Err(VolumetryError::OutsideRange { .. })
            ));
        }
        assert!(density(0.0).is_ok() && density(40.0).is_ok());
        assert!(air_saturation(26.0).is_err());
    }

    #[test]
    fn is_densest_at_four_degrees() {
        // -a1 = 3.983035 degC is the temperature of maximum density by the form of the formula.
        let top = density(3.983035).unwrap();
        assert!(top > density(3.9).unwrap() && top > density(4.1).unwrap());
    }

    #[test]
    fn the_formula_and_the_function_are_one() {
        for t in [0.0, 4.0, 20.0, 31.7, 40.0] {
            let input = Input::new("t", "t", Quantity::new(t, units::deg_c()));
            let formula = metrology::Formula::build(&density_expr(Expr::input(input))).unwrap();
            let rho = density(t).unwrap();
            assert!((formula.result().value / rho - 1.0).abs() < 1e-13, "{t}");
        }
    }

    #[test]
    fn mean_expansion_passes_smoothly_through_20_degrees() {
        let at = mean_expansion_from_20_c(20.0).unwrap();
        let near = mean_expansion_from_20_c(20.02).unwrap();
        assert!(((near - at) / at).abs() < 1e-3, "{at} {near}");
    }
}
