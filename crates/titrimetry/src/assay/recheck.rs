//! The titrant standardized again between samples: how far it is off what was counted with, and what that would do.
//!
//! Nothing is corrected. What both standardizations share (standard, balance, burette) cancels in the change, since both
//! formulas stand in one.

use super::evaluate::{Parents, Shared, titrant_plan};
use super::outcome::{Recheck, SampleOutcome};
use super::sheet::{RecheckSpec, Solution};
use super::solution::Known;
use crate::evaluation::built;
use crate::sheet::SheetError;
use metrology::{Coverage, Expr, expand, propagate};

impl Shared<'_> {
    /// Every recheck of the sheet, in the order of the samples.
    pub(super) fn rechecks(
        &mut self,
        samples: &[SampleOutcome],
        parents: &Parents<'_>,
    ) -> Result<Vec<Recheck>, SheetError> {
        let mut placed: Vec<(usize, usize)> = Vec::new();
        for (index, spec) in self.sheet.recheck.iter().enumerate() {
            let place = samples.iter().rposition(|s| s.spec.id == spec.after);
            let place = place.ok_or_else(|| {
                SheetError::entry(
                    format!("recheck[{}].after", index + 1),
                    format!("there is no sample \"{}\" on the sheet", spec.after),
                )
            })?;
            placed.push((place, index));
        }
        placed.sort_unstable();
        let mut from = 0;
        let mut out = Vec::new();
        for (place, index) in placed {
            let since: Vec<usize> = (from..=place).collect();
            from = place + 1;
            out.push(self.recheck(index, since, samples, parents)?);
        }
        Ok(out)
    }

    fn recheck(
        &mut self,
        index: usize,
        since: Vec<usize>,
        samples: &[SampleOutcome],
        parents: &Parents<'_>,
    ) -> Result<Recheck, SheetError> {
        let RecheckSpec { after, titrant } = &self.sheet.recheck[index];
        let path = format!("recheck[{}].titrant", index + 1);
        let name = format!("titrant, again {}", index + 1);
        let plan = titrant_plan(self.method, &self.balanced, &name, &path)?;
        // The same bottle, but another value: the input must have a name of its own.
        let spec = Solution {
            bottle: None,
            ..titrant.clone()
        };
        let again = Known::of(&spec, &plan, parents)?.concentration;
        let first = self.titrant.concentration.clone();
        let concentration = built(&path, &again)?.result().value;
        let budget = propagate(&built(&path, &(again / first.clone()))?);
        let change = budget.value - 1.0;
        let expanded = expand(
            budget.value,
            budget.standard_uncertainty,
            budget.effective_degrees_of_freedom,
            Coverage::Probability(0.95),
        );
        let mut effects = Vec::new();
        self.titrant.concentration = first.clone() * Expr::number(budget.value);
        for &sample in &since {
            let would_be = self.sample(sample)?.results[0].value;
            effects.push(samples[sample].results[0].value / would_be - 1.0);
        }
        self.titrant.concentration = first;
        Ok(Recheck {
            after: after.clone(),
            samples: since,
            concentration,
            change,
            expanded: expanded.expanded_uncertainty,
            effects,
        })
    }
}
