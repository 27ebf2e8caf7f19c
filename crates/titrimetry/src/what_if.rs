//! What if: the same formula with some of its inputs changed. Nothing is recorded of it.
//!
//! A [`Change`] gives an input another value or another standard uncertainty; [`levers`] says which inputs are worth
//! changing. For assays see [`crate::assay::what_if`].

use crate::evaluation::{Evaluation, Factor};
use metrology::{Budget, Formula, FormulaError, Input, expand, propagate};

/// Inputs below this share of the variance are not worth changing.
const LEAST_SHARE: f64 = 0.005;

/// Another value, or another standard uncertainty, of an input.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Identity of the input.
    pub id: String,
    /// Its value, in its unit; none leaves it.
    pub value: Option<f64>,
    /// Its standard uncertainty, in its unit; none leaves it. The shape of what is known stays.
    pub standard_uncertainty: Option<f64>,
}

/// An input that matters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lever {
    /// Index among the formula's inputs.
    pub input: usize,
    /// Share of the variance.
    pub share: f64,
    /// False if another value makes no sense: the repeatability is a factor of one by construction.
    pub has_value: bool,
}

/// The inputs that matter most, the largest first, at most so many.
pub fn levers(formula: &Formula, budget: &Budget, most: usize) -> Vec<Lever> {
    let mut levers: Vec<Lever> = budget
        .lines
        .iter()
        .filter(|line| line.share >= LEAST_SHARE)
        .map(|line| Lever {
            input: line.input,
            share: line.share,
            has_value: !matches!(
                formula.inputs()[line.input].distribution,
                metrology::Distribution::StudentT { .. }
            ),
        })
        .collect();
    levers.sort_by(|a, b| b.share.total_cmp(&a.share));
    levers.truncate(most);
    levers
}

/// The formula with the changes made; changes of inputs that it does not have are left out.
///
/// # Errors
/// [`FormulaError::UnusableInput`] for a value that is not finite or an uncertainty below 0.
pub fn changed(formula: &Formula, changes: &[Change]) -> Result<Formula, FormulaError> {
    formula.with_inputs(|input| {
        let change = changes.iter().find(|change| change.id == input.id)?;
        let mut new = input.clone();
        if let Some(value) = change.value {
            new.value = value;
            new.written = None;
        }
        if let Some(u) = change.standard_uncertainty {
            new.distribution = with_uncertainty(input, u);
        }
        Some(new)
    })
}

/// What is known about the input, with another standard uncertainty.
fn with_uncertainty(input: &Input, u: f64) -> metrology::Distribution {
    let before = input.standard_uncertainty();
    if before > 0.0 {
        input.distribution.scaled(u / before)
    } else {
        metrology::Distribution::Normal {
            standard_uncertainty: u,
        }
    }
}

/// The evaluation as it would be with these changes. The runs stay as they were read: their scatter, and what the rules
/// say of it, do not change.
///
/// # Errors
/// As [`changed`]; [`FormulaError::UnusableInput`] too if no finite result is left.
pub fn what_if(evaluation: &Evaluation, changes: &[Change]) -> Result<Evaluation, FormulaError> {
    let formula = changed(&evaluation.formula, changes)?;
    let budget = propagate(&formula);
    let expanded = expand(
        budget.value,
        budget.standard_uncertainty,
        budget.effective_degrees_of_freedom,
        evaluation.expanded.coverage(),
    );
    let factor = evaluation.factor.as_ref().map(|factor| Factor {
        value: budget.value / factor.nominal,
        standard_uncertainty: budget.standard_uncertainty / factor.nominal,
        expanded_uncertainty: expanded.expanded_uncertainty / factor.nominal,
        ..factor.clone()
    });
    Ok(Evaluation {
        formula,
        budget,
        expanded,
        factor,
        ..evaluation.clone()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Sheet;
    use crate::evaluation::evaluate;

    const SHEET: &str = r#"
title = "what if"
[sought]
substance = "NaOH"
place = "burette"
[known]
substance = "KHP"
purity = { value = "99.97 %", U = "0.07 %" }
[apparatus]
burette = "burette 50 mL A"
balance = "four-place balance"
[[run]]
mass = "0.5000 g"
initial = "0.00 mL"
final = "24.50 mL"
"#;

    fn of(sheet: &str) -> Evaluation {
        evaluate(&Sheet::read(sheet).unwrap(), None).unwrap()
    }

    fn purity(evaluation: &Evaluation) -> &Input {
        let found = |input: &&std::sync::Arc<Input>| input.group == "purity of the standard";
        evaluation.formula.inputs().iter().find(found).unwrap()
    }

    #[test]
    fn another_input_is_the_same_as_another_sheet() {
        let evaluation = of(SHEET);
        let input = purity(&evaluation);
        // 99.47 % with U = 0.14 % in whatever unit the input has.
        let change = Change {
            id: input.id.clone(),
            value: Some(input.value * 99.47 / 99.97),
            standard_uncertainty: Some(input.standard_uncertainty() * 2.0),
        };
        let changed = what_if(&evaluation, &[change]).unwrap();
        let written = of(&SHEET.replace(
            "value = \"99.97 %\", U = \"0.07 %\"",
            "value = \"99.47 %\", U = \"0.14 %\"",
        ));
        for (one, other) in [
            (changed.budget.value, written.budget.value),
            (
                changed.expanded.expanded_uncertainty,
                written.expanded.expanded_uncertainty,
            ),
        ] {
            assert!((one / other - 1.0).abs() < 1e-12, "{one} {other}");
        }
        // Nothing is changed by no change.
        let same = what_if(&evaluation, &[]).unwrap();
        assert_eq!(same.formula, evaluation.formula);
        assert_eq!(same.expanded, evaluation.expanded);
    }

    #[test]
    fn levers_are_the_largest_shares() {
        let evaluation = of(SHEET);
        let found = levers(&evaluation.formula, &evaluation.budget, 3);
        assert!(!found.is_empty() && found.len() <= 3);
        assert!(found.windows(2).all(|w| w[0].share >= w[1].share));
        let most = evaluation.budget.lines.iter().map(|l| l.share);
        assert!((found[0].share - most.fold(0.0, f64::max)).abs() < 1e-15);
    }

    #[test]
    fn an_impossible_change_is_refused() {
        let evaluation = of(SHEET);
        let id = purity(&evaluation).id.clone();
        for (value, standard_uncertainty) in [(Some(f64::NAN), None), (None, Some(-1.0))] {
            let change = Change {
                id: id.clone(),
                value,
                standard_uncertainty,
            };
            assert!(what_if(&evaluation, &[change]).is_err());
        }
    }
}
