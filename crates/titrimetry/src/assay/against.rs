//! A result against what is asked of it: limits, an expected value, and none at least.

use super::agreement::muted;
use super::evaluate::Shared;
use super::outcome::{BelowZero, Conformity, DecisionRule, Reported};
use super::sheet::{SampleKind, SampleSpec};
use super::work::Work;
use crate::evaluation::stated::{self, About};
use crate::evaluation::{Scatter, built, value_of};
use crate::sheet::SheetError;
use metrology::conformity::Limits;
use metrology::{Expr, expand, propagate};

impl Shared<'_> {
    /// Analytes of which less than none was found, beyond the uncertainty.
    pub(super) fn below_zero(
        &self,
        contents: &[Expr],
        work: &Work,
        titrations: &[(Scatter, Option<f64>)],
    ) -> Result<Vec<BelowZero>, SheetError> {
        let mut out = Vec::new();
        for (analyte, content) in self.method.analyte.iter().zip(contents) {
            // A content that is not below zero needs no look at its uncertainty.
            if value_of("sample", content)? >= 0.0 {
                continue;
            }
            let formula = muted(built("sample", content)?, work, titrations)?;
            let budget = propagate(&formula);
            let expanded = expand(
                budget.value,
                budget.standard_uncertainty,
                budget.effective_degrees_of_freedom,
                self.coverage,
            );
            if budget.value + expanded.expanded_uncertainty < 0.0 {
                out.push(BelowZero {
                    species: analyte.species.clone(),
                    name: analyte.name.clone(),
                    meaning: analyte.if_negative.clone().unwrap_or_else(|| {
                        "readings, blank or reagents are mixed up, or an assumption of the method fails".into()
                    }),
                });
            }
        }
        Ok(out)
    }
}

fn value_in(
    reported: &Reported,
    written: &metrology::WrittenQuantity,
    path: &str,
) -> Result<f64, SheetError> {
    reported.number_of(written).ok_or_else(|| {
        SheetError::entry(
            path,
            format!(
                "{} is no number of {} as {} in {}; write all of this entry in one unit",
                written, reported.name, reported.expressed_as, reported.unit
            ),
        )
    })
}

/// The unit in which a sample's limits are judged: that of the first of them.
pub(super) fn unit_of_limits(spec: &SampleSpec) -> Option<&metrology::WrittenQuantity> {
    let limits = spec.limits.as_ref()?;
    let first = limits.from.as_ref().or(limits.to.as_ref())?;
    Some(first.quantity())
}

/// The unit in which a sample is compared with what is expected of it.
pub(super) fn unit_expected(spec: &SampleSpec) -> Option<&metrology::WrittenQuantity> {
    spec.expected.as_ref().map(|stated| stated.value.quantity())
}

/// What is expected of the first result, in its unit; `other` is the same content in the unit of the entry.
pub(super) fn expected(spec: &SampleSpec, first: &Reported, other: &Reported) -> Option<f64> {
    let value = other.number_of(unit_expected(spec)?)?;
    let ratio = first.value / other.value;
    ratio.is_finite().then_some(value * ratio)
}

pub(super) fn conformity(
    spec: &SampleSpec,
    reported: &Reported,
    path: &str,
) -> Result<Option<Conformity>, SheetError> {
    let Some(limits) = &spec.limits else {
        return Ok(None);
    };
    let path = format!("{path}.limits");
    let limit = |written: &Option<crate::sheet::Written<crate::sheet::Content>>| {
        written
            .as_ref()
            .map(|w| value_in(reported, w.quantity(), &path))
            .transpose()
    };
    let (from, to) = (limit(&limits.from)?, limit(&limits.to)?);
    let within = Limits {
        lower: from,
        upper: to,
    };
    match (from, to) {
        (None, None) => {
            return Err(SheetError::entry(path, "limits need from or to, or both"));
        }
        (Some(from), Some(to)) if from >= to => {
            return Err(SheetError::entry(
                path,
                "the lower limit must be below the upper",
            ));
        }
        _ => {}
    }
    let (value, u) = (reported.value, reported.standard_uncertainty);
    let dof = reported.budget.effective_degrees_of_freedom;
    let probability = within.probability(value, u, dof);
    let band = limit(&limits.guard_band)?;
    let (rule, guard_band) = match (limits.probability, band, limits.guard_factor) {
        (wanted, None, None) => {
            let wanted = wanted.unwrap_or(0.95);
            if !(wanted > 0.0 && wanted < 1.0) {
                return Err(SheetError::entry(
                    format!("{path}.probability"),
                    "must lie between 0 and 1",
                ));
            }
            (
                DecisionRule::Probability(wanted),
                within.guard_band(u, dof, wanted),
            )
        }
        (None, Some(width), None) => (DecisionRule::GuardBand, Some(width)),
        (None, None, Some(factor)) if factor.is_finite() => (
            DecisionRule::GuardFactor(factor),
            Some(factor * reported.expanded.expanded_uncertainty),
        ),
        (None, None, Some(_)) => {
            return Err(SheetError::entry(
                format!("{path}.guard_factor"),
                "must be a number, such as 1.0",
            ));
        }
        _ => {
            return Err(SheetError::entry(
                path,
                "declare one decision rule: probability, guard_band or guard_factor",
            ));
        }
    };
    let acceptance = guard_band.and_then(|width| within.guarded(width));
    let accepted = match rule {
        DecisionRule::Probability(wanted) => probability >= wanted,
        _ => acceptance.is_some_and(|limits| limits.contains(value)),
    };
    let text = match (&limits.from, &limits.to) {
        (Some(a), Some(b)) => format!("{a} to {b}"),
        (Some(a), None) => format!("at least {a}"),
        (None, Some(b)) => format!("at most {b}"),
        (None, None) => String::new(),
    };
    Ok(Some(Conformity {
        limits: text,
        probability,
        rule,
        guard_band,
        acceptance,
        accepted,
        unit: reported.unit.clone(),
        value,
        standard_uncertainty: u,
    }))
}

pub(super) fn zeta(
    spec: &SampleSpec,
    reported: &Reported,
    path: &str,
) -> Result<Option<f64>, SheetError> {
    let Some(expected) = &spec.expected else {
        if spec.kind == SampleKind::Check {
            return Err(SheetError::entry(
                path,
                "a check sample needs what is expected of it: expected = { value = ..., U = ... }",
            ));
        }
        return Ok(None);
    };
    let path = format!("{path}.expected");
    let about = About {
        id: format!("{}/expected", spec.id),
        symbol: "X",
        description: "expected value".into(),
        group: "expected",
        path: &path,
    };
    let input = stated::input(expected, about)?;
    let value = value_in(reported, expected.value.quantity(), &path)?;
    let ratio = value / expected.value.quantity().number.value();
    let u = input.standard_uncertainty() * ratio.abs();
    Ok(Some(
        (reported.value - value) / reported.standard_uncertainty.hypot(u),
    ))
}
