//! The results of an outcome, each with its formula: what pages about one number start from.

use metrology::{Budget, Expanded, Formula};
use notebook::Outcome;

/// One result.
pub(crate) struct Measured<'a> {
    /// By which a link names it; empty for the first of all.
    pub(crate) key: String,
    /// What it is and of what, in words.
    pub(crate) name: String,
    pub(crate) formula: &'a Formula,
    pub(crate) budget: &'a Budget,
    /// In the unit shown.
    pub(crate) expanded: Expanded,
    /// How many of the formula's units the unit shown is.
    pub(crate) factor: f64,
    pub(crate) unit: &'a str,
}

impl Measured<'_> {
    /// The value, in the unit shown.
    pub(crate) fn value(&self) -> f64 {
        self.budget.value / self.factor
    }

    /// What a link adds to a path so that it is about this result.
    pub(crate) fn query(&self) -> String {
        if self.key.is_empty() {
            String::new()
        } else {
            format!("?of={}", crate::page::frame::escaped(&self.key))
        }
    }
}

/// All results, in the order in which they are reported.
pub(crate) fn all(outcome: &Outcome) -> Vec<Measured<'_>> {
    let mut found = match outcome {
        Outcome::Standardization {
            solution,
            evaluation,
            ..
        } => vec![Measured {
            key: String::new(),
            name: format!("c, {}", solution.name()),
            formula: &evaluation.formula,
            budget: &evaluation.budget,
            expanded: evaluation.expanded,
            factor: 1.0,
            unit: "mol/L",
        }],
        Outcome::Assay { assay, .. } => assay
            .samples
            .iter()
            .flat_map(|sample| {
                sample
                    .results
                    .iter()
                    .enumerate()
                    .map(move |(at, result)| Measured {
                        key: if at == 0 {
                            sample.spec.id.clone()
                        } else {
                            format!("{}/{at}", sample.spec.id)
                        },
                        name: format!("{}, {}", result.name, sample.spec.id),
                        formula: &result.formula,
                        budget: &result.budget,
                        expanded: result.expanded,
                        factor: result.factor,
                        unit: &result.unit,
                    })
            })
            .collect(),
    };
    if let Some(first) = found.first_mut() {
        first.key.clear();
    }
    found
}

/// The result that a link names: the first if it names none.
pub(crate) fn find<'a>(outcome: &'a Outcome, key: Option<&str>) -> Option<Measured<'a>> {
    let key = key.unwrap_or_default();
    all(outcome).into_iter().find(|one| one.key == key)
}
