//! Dilution before the titration: the result is that of the undiluted solution.

use super::apparatus::Bench;
use crate::sheet::{Sheet, SheetError};
use metrology::{Expr, Unit};

/// Undiluted over diluted concentration: the product of flask over pipette; none if nothing was diluted.
pub(super) fn factor(sheet: &Sheet, bench: &Bench) -> Result<Option<Expr>, SheetError> {
    let mut factor: Option<Expr> = None;
    for (index, step) in sheet.sought.diluted.iter().enumerate() {
        let (taken, made_up) = bench.dilution(step, index + 1)?;
        let ratio = made_up / taken;
        factor = Some(match factor {
            None => ratio,
            Some(before) => before * ratio,
        });
    }
    Ok(factor.map(|f| {
        f.named("F", "undiluted over diluted concentration")
            .in_unit(Unit::one())
    }))
}

/// The concentration from one run, named as the working shows it.
pub(super) fn undiluted(sheet: &Sheet, index: usize, c: Expr, factor: Option<&Expr>) -> Expr {
    let name = sheet.run_name(index);
    let unit: Unit = "mol/L".parse().unwrap_or_default();
    let c = match factor {
        None => c,
        Some(factor) => {
            c.named(
                format!("c_dil,{name}"),
                format!("concentration after dilution, run {name}"),
            )
            .in_unit(unit.clone())
                * factor.clone()
        }
    };
    c.named(
        format!("c_{name}"),
        format!("concentration from run {name}"),
    )
    .in_unit(unit)
}
