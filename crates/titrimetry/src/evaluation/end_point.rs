//! The end that is seen lies before or after the equivalence point: a shared input of every run.
//!
//! Its value and uncertainty come from the sheet; a plan predicts them from curve and indicator
//! ([`crate::plan::indicators`]).

use super::stated::{self, About};
use crate::sheet::{Sheet, SheetError, Stated, Volume};
use metrology::Expr;

/// The group of its input in a budget.
pub(crate) const PLACE_OF_THE_END: &str = "place of the end point";

/// Titrant between equivalence point and seen end, if the sheet states it.
pub(crate) fn late(
    stated: Option<&Stated<Volume>>,
    determination: &str,
) -> Result<Option<Expr>, SheetError> {
    let Some(stated) = stated else {
        return Ok(None);
    };
    let about = About {
        id: format!("{determination}/end point"),
        symbol: "V_late",
        description: "titrant between equivalence point and the end that is seen".into(),
        group: PLACE_OF_THE_END,
        path: "end_point.late",
    };
    Ok(Some(Expr::input(stated::input(stated, about)?)))
}

/// The titre without what was added after the equivalence point.
pub(crate) fn before_the_end(volume: &Expr, late: Option<&Expr>) -> Expr {
    match late {
        Some(late) => volume.clone() - late.clone(),
        None => volume.clone(),
    }
}

/// The stated value in mL; 0 if nothing is stated.
pub(super) fn millilitres(sheet: &Sheet) -> f64 {
    sheet
        .end_point
        .as_ref()
        .map_or(0.0, |spec| spec.late.value.value())
}
