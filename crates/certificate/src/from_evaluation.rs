//! Runs and budgets of a certificate's sheet, out of the evaluation.

use crate::sheet::{BudgetInput, BudgetSheet, RunLine};
use metrology::{Budget, Formula};
use notebook::Outcome;
use report::shares_by_group;
use titrimetry::evaluation::RunStatus;

fn status(status: &RunStatus) -> String {
    match status {
        RunStatus::Counts => "counts".into(),
        RunStatus::Rough => "rough, does not count".into(),
        RunStatus::Blank => "blank, subtracted".into(),
        RunStatus::SetAside(reason) => format!("set aside: {reason}"),
    }
}

pub(crate) fn runs(outcome: &Outcome) -> Vec<RunLine> {
    match outcome {
        Outcome::Standardization { evaluation, .. } => evaluation
            .runs
            .iter()
            .map(|run| RunLine {
                of: None,
                name: run.name.clone(),
                titre: format!("{:.*}", run.titre_decimals, run.titre),
                value: run.concentration,
                status: status(&run.status),
                counts: run.counts(),
            })
            .collect(),
        Outcome::Assay { samples, assay, .. } => samples
            .iter()
            .zip(&assay.samples)
            .flat_map(|(node, sample)| {
                sample.runs.iter().map(|run| {
                    let titres: Vec<String> = run
                        .titres
                        .iter()
                        .map(|t| format!("{:.*}", run.titre_decimals, t))
                        .collect();
                    RunLine {
                        of: Some(node.name().to_string()),
                        name: run.name.clone(),
                        titre: titres.join(" / "),
                        value: run.value,
                        status: status(&run.status),
                        counts: run.status == RunStatus::Counts,
                    }
                })
            })
            .collect(),
    }
}

pub(crate) fn budgets(outcome: &Outcome) -> Vec<BudgetSheet> {
    match outcome {
        Outcome::Standardization {
            solution,
            evaluation,
            ..
        } => vec![budget(
            format!("concentration of {}", solution.name()),
            "mol/L",
            1.0,
            &evaluation.formula,
            &evaluation.budget,
        )],
        Outcome::Assay { samples, assay, .. } => samples
            .iter()
            .zip(&assay.samples)
            .filter_map(|(node, sample)| {
                let first = sample.results.first()?;
                let of = format!("{} of {}", first.name, node.name());
                Some(budget(
                    of,
                    &first.unit,
                    first.factor,
                    &first.formula,
                    &first.budget,
                ))
            })
            .collect(),
    }
}

/// A budget; contributions are divided by `factor` to come to the unit of the result.
fn budget(of: String, unit: &str, factor: f64, formula: &Formula, budget: &Budget) -> BudgetSheet {
    let mut inputs: Vec<BudgetInput> = budget
        .lines
        .iter()
        .map(|line| {
            let input = &formula.inputs()[line.input];
            let what = if input.description.is_empty() {
                &input.group
            } else {
                &input.description
            };
            BudgetInput {
                symbol: input.symbol.clone(),
                what: what.clone(),
                origin: input.origin.describe(),
                value: input.value,
                standard_uncertainty: line.standard_uncertainty,
                unit: input.unit.to_string(),
                contribution: line.contribution / factor,
                share: line.share,
            }
        })
        .collect();
    inputs.sort_by(|a, b| b.share.total_cmp(&a.share));
    let freedom = budget.effective_degrees_of_freedom;
    BudgetSheet {
        of,
        unit: unit.to_string(),
        combined: budget.standard_uncertainty / factor,
        degrees_of_freedom: freedom.is_finite().then_some(freedom),
        groups: shares_by_group(formula, budget)
            .into_iter()
            .map(|g| (g.group, g.share))
            .collect(),
        inputs,
    }
}
