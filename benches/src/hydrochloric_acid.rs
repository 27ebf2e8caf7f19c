//! The model that is measured: a hydrochloric acid determined through sodium hydroxide against potassium hydrogen
//! phthalate, EURACHEM/CITAC Guide CG4, 3rd ed. (2012), example A3, with all fourteen inputs.

use metrology::{Distribution, Expr, Formula, FormulaError, Input, Quantity, QuantityError};

/// The concentration c = R·m·P·V2/(V1·M·Vp).
///
/// # Errors
/// None with the units used; the signature is that of the parts it is built from.
pub fn formula() -> Result<Formula, Error> {
    let rectangular = |half_width| Distribution::Rectangular { half_width };
    let triangular = |half_width| Distribution::Triangular { half_width };
    let repeatability = input(
        "R",
        1.0,
        "1",
        Distribution::Normal {
            standard_uncertainty: 0.001,
        },
    )?;
    // The linearity of the balance enters twice: tare and gross.
    let mass = input("m", 0.3888, "g", Distribution::Exact)?
        + input("m/gross", 0.0, "g", rectangular(0.15e-3))?
        - input("m/tare", 0.0, "g", rectangular(0.15e-3))?;
    let purity = input("P", 1.0, "1", rectangular(0.0005))?;
    let element = |id, value, half_width| input(id, value, "g/mol", rectangular(half_width));
    let molar_mass = element("C", 12.0107, 0.0008)? * 8.0
        + element("H", 1.00794, 0.00007)? * 5.0
        + element("O", 15.9994, 0.0003)? * 4.0
        + element("K", 39.0983, 0.0001)?;
    // Calibration and temperature (2.1e-4 a kelvin, ±4 K) of each volume.
    let volume = |id: &str, value, calibration, temperature| -> Result<Expr, Error> {
        Ok(input(id, value, "mL", triangular(calibration))?
            + input(
                &format!("{id}/temperature"),
                0.0,
                "mL",
                rectangular(temperature),
            )?)
    };
    let v1 = volume("V1", 18.64, 0.03, 0.01596)?;
    let v2 = volume("V2", 14.89, 0.03, 0.0126)?;
    let pipette = volume("Vp", 15.0, 0.02, 0.0126)?;
    let c = repeatability * mass * purity * v2 / (v1 * molar_mass * pipette);
    let unit = "mol/L".parse().map_err(QuantityError::from)?;
    Ok(Formula::build(
        &c.named("c", "concentration").in_unit(unit),
    )?)
}

fn input(id: &str, value: f64, unit: &str, distribution: Distribution) -> Result<Expr, Error> {
    let unit = unit.parse().map_err(QuantityError::from)?;
    Ok(Expr::input(
        Input::new(id, id, Quantity::new(value, unit)).distributed(distribution),
    ))
}

/// What can be wrong with a model.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A quantity.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// The formula.
    #[error(transparent)]
    Formula(#[from] FormulaError),
}
