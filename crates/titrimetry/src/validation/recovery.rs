//! What was added and what of it was found.

use super::{Criterion, Estimate, RecoveryData, ValidationError};
use crate::sheet::SheetError;
use metrology::hypothesis::one_sample_t_test;
use metrology::line_fit::fit_line;
use metrology::replicates::Replicates;
use schemars::JsonSchema;
use serde::Serialize;

const PART: &str = "recovery";

/// Recoveries.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Recovery {
    /// Amount added, number of results and mean recovery in per cent of each level.
    pub levels: Vec<(f64, usize, f64)>,
    /// Mean recovery in per cent, every result counting alike.
    pub mean: Estimate,
    /// Chance of so far a mean if everything is found.
    pub p: f64,
    /// Line of what was found (less what was there) against what was added: its intercept is a constant loss or gain, its
    /// slope the share found. Absent below three results or where all additions are alike.
    pub line: Option<(Estimate, Estimate)>,
    /// The limits that the file states.
    pub criteria: Vec<Criterion>,
}

impl Recovery {
    /// Works out the recoveries.
    ///
    /// # Errors
    /// No results, an addition that is not above 0, fewer than two results, or results that do not scatter.
    pub fn of(data: &RecoveryData, confidence: f64) -> Result<Self, ValidationError> {
        let mut all = Vec::new();
        let mut levels = Vec::new();
        let (mut added, mut gained) = (Vec::new(), Vec::new());
        for (at, level) in data.levels.iter().enumerate() {
            let path = |field: &str| format!("recovery.levels[{}].{field}", at + 1);
            if !(level.added.is_finite() && level.added > 0.0) {
                return Err(
                    SheetError::entry(path("added"), "what is added must be above 0").into(),
                );
            }
            if level.found.is_empty() {
                return Err(SheetError::entry(path("found"), "give what was found").into());
            }
            let recovered: Vec<f64> = level
                .found
                .iter()
                .map(|found| 100.0 * (found - level.native) / level.added)
                .collect();
            let mean = recovered.iter().sum::<f64>() / recovered.len() as f64;
            levels.push((level.added, recovered.len(), mean));
            for found in &level.found {
                added.push(level.added);
                gained.push(found - level.native);
            }
            all.extend(recovered);
        }
        let summary = Replicates::of(&all)
            .map_err(|source| ValidationError::Values { part: PART, source })?;
        let test = one_sample_t_test(&summary, 100.0)
            .map_err(|source| ValidationError::Test { part: PART, source })?;
        let mean = Estimate::new(
            100.0 + test.difference,
            test.standard_error,
            test.degrees_of_freedom,
            confidence,
        );
        let line = fit_line(&added, &gained).ok().map(|line| {
            let dof = line.degrees_of_freedom();
            (
                Estimate::new(line.intercept, line.u_intercept, dof, confidence),
                Estimate::new(line.slope, line.u_slope, dof, confidence),
            )
        });
        let mut criteria = Vec::new();
        if data.from.is_some() || data.to.is_some() {
            criteria.push(Criterion {
                what: "mean recovery in per cent".into(),
                found: mean.value,
                from: data.from,
                to: data.to,
            });
        }
        Ok(Self {
            levels,
            p: test.p_two_sided,
            mean,
            line,
            criteria,
        })
    }
}
