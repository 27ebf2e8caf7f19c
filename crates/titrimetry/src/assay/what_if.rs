//! The same assay with some of its inputs changed.

use super::against::{conformity, zeta};
use super::outcome::{Assay, Reported};
use crate::sheet::SheetError;
use crate::what_if::{Change, changed};
use metrology::{FormulaError, propagate};

/// The assay as it would be with these changes, which reach every result that rests on a changed input.
///
/// Titres and the scatter of the runs stay as they were read.
///
/// # Errors
/// [`SheetError::Entry`] naming the sample whose result cannot be had so.
pub fn what_if(assay: &Assay, changes: &[Change]) -> Result<Assay, SheetError> {
    let mut out = assay.clone();
    for (index, sample) in out.samples.iter_mut().enumerate() {
        let path = format!("sample[{}]", index + 1);
        let beside = [&mut sample.limited, &mut sample.compared];
        let beside = beside.into_iter().filter_map(Option::as_deref_mut);
        let recovery = sample.addition.iter_mut().map(|line| &mut line.recovery);
        for reported in sample.results.iter_mut().chain(beside).chain(recovery) {
            change(reported, changes)
                .map_err(|error| SheetError::entry(path.clone(), error.to_string()))?;
        }
        if let Some(first) = sample.results.first() {
            let limited = sample.limited.as_deref().unwrap_or(first);
            sample.conformity = conformity(&sample.spec, limited, &path)?;
            let compared = sample.compared.as_deref().unwrap_or(first);
            sample.zeta = zeta(&sample.spec, compared, &path)?;
        }
    }
    Ok(out)
}

fn change(reported: &mut Reported, changes: &[Change]) -> Result<(), FormulaError> {
    reported.formula = changed(&reported.formula, changes)?;
    reported.budget = propagate(&reported.formula);
    reported.reckon(reported.expanded.coverage());
    for also in &mut reported.also {
        change(also, changes)?;
    }
    Ok(())
}
