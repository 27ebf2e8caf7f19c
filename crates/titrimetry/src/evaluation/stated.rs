//! Values that somebody else states, as inputs.

use crate::sheet::{Kind, Shape, SheetError, Stated};
use metrology::{Distribution, Input, Origin};

/// What a [`Stated`] value is about.
pub(crate) struct About<'a> {
    /// Identity of the input.
    pub(crate) id: String,
    /// Its symbol.
    pub(crate) symbol: &'a str,
    /// What it is, in words.
    pub(crate) description: String,
    /// Heading in the budget.
    pub(crate) group: &'a str,
    /// Path of the entry in the sheet.
    pub(crate) path: &'a str,
}

/// The input that a stated value makes.
///
/// # Errors
/// An entry error if the uncertainty is given in no form, in two forms, or is negative.
pub(crate) fn input<K: Kind>(stated: &Stated<K>, about: About<'_>) -> Result<Input, SheetError> {
    let fail = |message: &str| Err(SheetError::entry(about.path, message));
    let unit = stated.value.quantity().unit.clone();
    // Units that only reports know cannot be found by their symbols.
    let width = |written: &crate::sheet::Written<K>| {
        if K::AS_REPORTED && written.quantity().unit == unit {
            return written.quantity().number.value();
        }
        written.value_in(unit.symbol())
    };
    if K::AS_REPORTED {
        let widths = [&stated.expanded, &stated.standard, &stated.within];
        let other = widths
            .into_iter()
            .flatten()
            .find(|w| w.quantity().unit != unit);
        let defined = |symbol: &str| {
            !matches!(
                crate::quantity::ReportUnit::parse(symbol),
                Ok(crate::quantity::ReportUnit::Plain(_))
            )
        };
        if let Some(other) = other {
            let symbol = other.quantity().unit.symbol();
            if defined(symbol)
                || defined(unit.symbol())
                || other.quantity().value_in(&unit).is_err()
            {
                return fail(&format!(
                    "the uncertainty is in {symbol} and the value in {}: write both in one unit",
                    unit.symbol()
                ));
            }
        }
    }
    let forms = [
        stated.expanded.is_some(),
        stated.standard.is_some(),
        stated.within.is_some(),
        stated.exact,
    ];
    match forms.iter().filter(|given| **given).count() {
        1 => {}
        0 => {
            return fail(
                "the uncertainty is missing: give U with k, or u, or within, or exact = true",
            );
        }
        _ => {
            return fail(
                "the uncertainty is given in more than one form: keep one of U with k, u, within, exact",
            );
        }
    }
    if stated.k.is_some() && stated.expanded.is_none() {
        return fail("k belongs to an expanded uncertainty U");
    }
    if stated.shape.is_some() && stated.within.is_none() {
        return fail("shape belongs to limits given by within");
    }
    let distribution = if let Some(expanded) = &stated.expanded {
        let coverage_factor = stated.k.unwrap_or(2.0);
        if !(coverage_factor.is_finite() && coverage_factor > 0.0) {
            return fail("k must be above 0");
        }
        Distribution::Expanded {
            expanded_uncertainty: width(expanded),
            coverage_factor,
        }
    } else if let Some(standard) = &stated.standard {
        Distribution::Normal {
            standard_uncertainty: width(standard),
        }
    } else if let Some(within) = &stated.within {
        let half_width = width(within);
        match stated.shape.unwrap_or(Shape::Rectangular) {
            Shape::Rectangular => Distribution::Rectangular { half_width },
            Shape::Triangular => Distribution::Triangular { half_width },
            Shape::Arcsine => Distribution::Arcsine { half_width },
        }
    } else {
        Distribution::Exact
    };
    if distribution.standard_uncertainty() < 0.0 {
        return fail("an uncertainty cannot be negative");
    }
    let degrees_of_freedom = stated.degrees_of_freedom.unwrap_or(f64::INFINITY);
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
        return fail("degrees_of_freedom must be above 0");
    }
    let origin = match &stated.certificate {
        Some(certificate) => Origin::Certificate(certificate.clone()),
        None => Origin::Assumption("stated on the sheet without a certificate".into()),
    };
    Ok(
        Input::new(about.id, about.symbol, stated.value.quantity().quantity())
            .described(about.description)
            .written(stated.value.quantity().number.to_string())
            .distributed(distribution)
            .with_degrees_of_freedom(degrees_of_freedom)
            .from_origin(origin)
            .grouped(about.group),
    )
}
