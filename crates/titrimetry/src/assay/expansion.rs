//! A titrant that expands otherwise than a dilute aqueous solution: volumes and concentrations count at 20 degC.

use super::evaluate::unit;
use super::sheet::AssaySheet;
use super::solution::Known;
use crate::evaluation::stated::{self, About};
use crate::method::Method;
use crate::sheet::{Expansion, SheetError, Stated};
use metrology::{Distribution, Expr, Input, Origin, Quantity};
use volumetry::Liquid;

/// The concentration at 20 degC of a titrant that was standardized at another temperature and expands by its own
/// coefficient; volumes count at 20 degC.
pub(super) fn standardized_at(
    sheet: &AssaySheet,
    method: &Method,
    titrant: Known,
) -> Result<Known, SheetError> {
    let Some(written) = &sheet.titrant.standardized_at else {
        return Ok(titrant);
    };
    let path = "titrant.standardized_at";
    let Some(expansion) = &method.titrant.expansion else {
        return Err(SheetError::entry(
            path,
            "the method gives no expansion coefficient of its own: concentrations count at 20 degC",
        ));
    };
    let liquid = titrant_liquid(method, expansion)?;
    let read = Input::new(
        format!("{}/temperature of standardization", sheet.title),
        "t_std",
        written.quantity().quantity(),
    )
    .described("temperature at which the titrant was standardized")
    .written(written.quantity().number.to_string())
    .distributed(Distribution::Rectangular {
        half_width: written.quantity().step() / 2.0,
    })
    .from_origin(Origin::Reading("thermometer".into()))
    .grouped("temperature");
    let above = Expr::input(read) - Expr::constant(Quantity::new(20.0, unit("degC")));
    let factor = (Expr::number(1.0) + liquid.expansion() * above)
        .named("f_std", "factor of the concentration to 20 degC");
    Ok(Known {
        concentration: titrant.concentration * factor,
    })
}

/// A titrant by its own expansion.
pub(super) fn titrant_liquid(
    method: &Method,
    expansion: &Stated<Expansion>,
) -> Result<Liquid, SheetError> {
    let path = format!("method {}, titrant.expansion", method.name);
    let about = About {
        id: "expansion".into(),
        symbol: "β",
        description: String::new(),
        group: "temperature",
        path: &path,
    };
    let input = stated::input(expansion, about)?;
    let source = expansion
        .certificate
        .clone()
        .unwrap_or_else(|| method.source.join("; "));
    // Liquid takes a half-width; a standard uncertainty is widened to the rectangle that has it.
    let half_width = input.standard_uncertainty() * 3f64.sqrt();
    Liquid::new(
        method.titrant.substance.clone(),
        expansion.value.value(),
        half_width,
        source,
    )
    .map_err(|e| SheetError::entry(path.clone(), e.to_string()))
}
