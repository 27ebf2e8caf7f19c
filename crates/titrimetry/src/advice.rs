//! What would help most: the same formula with one thing better.

use crate::evaluation::{Evaluation, ScatterRule};
use metrology::{Formula, FormulaError, Input, Scope, expand, propagate};
use serde::Serialize;

/// One thing that could be better, and what it would bring.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Advice {
    /// What to do, as "two more runs".
    pub action: String,
    /// Expanded uncertainty now, in mol/L.
    pub expanded_before: f64,
    /// Expanded uncertainty it would bring, in mol/L, if the runs go on scattering as they do.
    pub expanded_after: f64,
}

/// Least relative gain that is worth saying.
const WORTH_SAYING: f64 = 0.05;
/// How many pieces of advice are given.
const MOST: usize = 4;

/// What would help, the most helpful first; nothing that brings less than a twentieth.
pub fn advise(evaluation: &Evaluation) -> Vec<Advice> {
    let mut all: Vec<Advice> = candidates(evaluation)
        .into_iter()
        .filter_map(|(action, formula)| {
            let expanded_after = expanded(evaluation, &formula.ok()?);
            let expanded_before = evaluation.expanded.expanded_uncertainty;
            let gain = 1.0 - expanded_after / expanded_before;
            (gain >= WORTH_SAYING).then_some(Advice {
                action,
                expanded_before,
                expanded_after,
            })
        })
        .collect();
    all.sort_by(|a, b| a.expanded_after.total_cmp(&b.expanded_after));
    all.truncate(MOST);
    all
}

/// The expanded uncertainty, in mol/L, that `more` further runs would bring, if they scatter as the others do.
///
/// # Errors
/// None with a formula that [`crate::evaluation::evaluate`] made; the change is checked all the same.
pub fn with_more_runs(evaluation: &Evaluation, more: usize) -> Result<f64, FormulaError> {
    Ok(expanded(evaluation, &more_runs(evaluation, more)?))
}

fn expanded(evaluation: &Evaluation, formula: &Formula) -> f64 {
    let budget = propagate(formula);
    expand(
        budget.value,
        budget.standard_uncertainty,
        budget.effective_degrees_of_freedom,
        evaluation.expanded.coverage(),
    )
    .expanded_uncertainty
}

fn candidates(evaluation: &Evaluation) -> Vec<(String, Result<Formula, FormulaError>)> {
    let mut out = vec![
        ("one more run".to_string(), more_runs(evaluation, 1)),
        ("two more runs".to_string(), more_runs(evaluation, 2)),
    ];
    let groups: Vec<&str> = {
        let inputs = evaluation.formula.inputs();
        let mut groups: Vec<&str> = evaluation
            .budget
            .lines
            .iter()
            .map(|line| inputs[line.input].group.as_str())
            .collect();
        groups.sort_unstable();
        groups.dedup();
        groups
    };
    for group in groups {
        if let Some((action, factor)) = remedy(group) {
            out.push((action.to_string(), narrower(evaluation, group, factor)));
        }
    }
    out
}

/// What makes a group of inputs better, and what then is left of its widths. The sizes are common practice: a
/// calibration by weighing water leaves about a fifth of the tolerance, a certified or freshly certified material about
/// half of what is stated.
fn remedy(group: &str) -> Option<(&'static str, f64)> {
    Some(match group {
        "burette tolerance" => ("a calibrated burette", 0.2),
        "pipette tolerance" => ("a calibrated pipette", 0.2),
        "flask tolerance" => ("a calibrated flask", 0.2),
        "piston pipette tolerance" => ("a calibrated piston pipette", 0.2),
        "purity of the standard" => ("a standard whose purity is certified twice as closely", 0.5),
        "known solution" => ("a known solution that is certified twice as closely", 0.5),
        "temperature" => ("a temperature measured twice as closely", 0.5),
        "balance linearity" => ("a balance with one more decimal", 0.1),
        _ => return None,
    })
}

fn narrower(evaluation: &Evaluation, group: &str, factor: f64) -> Result<Formula, FormulaError> {
    evaluation.formula.with_inputs(|input| {
        let better = input.distribution.scaled(factor);
        (input.group == group).then(|| Input {
            distribution: better,
            ..input.clone()
        })
    })
}

/// The formula as if the random effects were averaged over more runs.
fn more_runs(evaluation: &Evaluation, more: usize) -> Result<Formula, FormulaError> {
    let n = evaluation.scatter.runs as f64;
    let factor = (n / (n + more as f64)).sqrt();
    let counts: Vec<String> = evaluation.counting().map(|run| run.key.clone()).collect();
    evaluation.formula.with_inputs(|input| {
        let distribution = input.distribution.scaled(factor);
        match (&input.scope, evaluation.scatter.rule) {
            (Scope::Shared, rule)
                if rule.is_one_input() && input.id == evaluation.repeatability_id() =>
            {
                Some(Input {
                    distribution,
                    degrees_of_freedom: input.degrees_of_freedom + more as f64,
                    ..input.clone()
                })
            }
            (Scope::Run(key), ScatterRule::Apparatus) if counts.contains(key) => Some(Input {
                distribution,
                ..input.clone()
            }),
            _ => None,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Sheet;
    use crate::evaluation::evaluate;

    const SHEET: &str = r#"
title = "advice"
[sought]
substance = "NaOH"
place = "burette"
[known]
substance = "KHP"
purity = { value = "99.97 %", U = "0.07 %" }
[apparatus]
burette = "burette 50 mL B"
balance = "four-place balance"
[[run]]
mass = "0.5000 g"
initial = "0.00 mL"
final = "24.50 mL"
"#;

    #[test]
    fn the_largest_source_is_named_first_and_its_gain_is_the_formulas() {
        let sheet = Sheet::read(SHEET).unwrap();
        let evaluation = evaluate(&sheet, None).unwrap();
        let advice = advise(&evaluation);
        assert_eq!(advice[0].action, "a calibrated burette");
        // The same by evaluating a sheet whose burette has a fifth of the tolerance (class B: 0.1 mL).
        let own = SHEET.replace(
            "burette = \"burette 50 mL B\"",
            "burette = { catalogue = \"burette 50 mL B\", tolerance = \"0.02 mL\" }",
        );
        let better = evaluate(&Sheet::read(&own).unwrap(), None).unwrap();
        assert!(
            (advice[0].expanded_after / better.expanded.expanded_uncertainty - 1.0).abs() < 1e-9
        );
    }

    #[test]
    fn more_runs_help_only_the_random_part() {
        let evaluation = evaluate(&Sheet::read(SHEET).unwrap(), None).unwrap();
        let before = evaluation.expanded.expanded_uncertainty;
        let after = with_more_runs(&evaluation, 3).unwrap();
        assert!(after < before && after > 0.5 * before);
    }
}
