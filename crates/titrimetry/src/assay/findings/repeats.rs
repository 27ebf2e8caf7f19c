//! Duplicates against a published repeatability limit, and one sample titrated twice on a sheet.

use super::{One, in_unit_of, said};
use crate::assay::{Assay, Reported, SampleOutcome};
use crate::evaluation::RunStatus;
use crate::finding::{Finding, Severity};
use crate::findings::words::percent;
use crate::method::LimitPlan;
use metrology::quantiles::student_t_two_sided_quantile;

/// Range of n results that is exceeded once in twenty, over the standard deviation (ISO 5725-6, critical range; from
/// memory, as tables of the studentized range print it): from two results on.
const CRITICAL_RANGE: [f64; 9] = [2.8, 3.3, 3.6, 3.9, 4.0, 4.2, 4.3, 4.4, 4.5];

/// Level of a difference between two results of one sample.
const LEVEL: f64 = 0.01;

/// Runs further apart than the method's repeatability limit.
pub(super) fn duplicates(one: &One<'_>) -> Vec<Finding> {
    let first = &one.sample.results[0];
    let values: Vec<(&str, f64)> = one
        .sample
        .runs
        .iter()
        .filter(|run| run.status == RunStatus::Counts)
        .filter_map(|run| Some((run.name.as_str(), run.value?)))
        .collect();
    let n = values.len();
    let Some(critical) = n
        .checked_sub(2)
        .map(|i| CRITICAL_RANGE[i.min(CRITICAL_RANGE.len() - 1)])
    else {
        return Vec::new();
    };
    let least = values.iter().map(|v| v.1).fold(f64::INFINITY, f64::min);
    let most = values.iter().map(|v| v.1).fold(f64::NEG_INFINITY, f64::max);
    let mean = values.iter().map(|v| v.1).sum::<f64>() / n as f64;
    let mut findings = Vec::new();
    for plan in &one.assay.method.precision {
        if plan.result != first.name {
            continue;
        }
        let Some(r) = limit_at(first, &plan.repeatability, mean).filter(|r| *r > 0.0) else {
            continue;
        };
        // r is the critical range of two.
        let limit = r * critical / CRITICAL_RANGE[0];
        let range = most - least;
        if range > limit {
            let many = if n == 2 {
                "The two runs".to_string()
            } else {
                format!("The {n} runs")
            };
            findings.push(
                Finding::new(
                    "duplicates-apart",
                    Severity::RuleBroken,
                    format!(
                        "{many} differ by {}; the method's repeatability limit allows {} ({}).",
                        said(first, range),
                        said(first, limit),
                        plan.source
                    ),
                    "Do two more runs; if all four agree within the limit for four, give their mean, otherwise look for the cause.",
                )
                .about(values.iter().map(|v| v.0))
                .sized(range / limit, "times the limit"),
            );
        }
    }
    findings
}

/// Two results of samples with one identity that do not agree.
pub(super) fn same_sample(assay: &Assay) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, sample) in assay.samples.iter().enumerate() {
        let again = assay.samples[index + 1..]
            .iter()
            .find(|other| other.spec.id == sample.spec.id);
        let Some(again) = again else { continue };
        let known = repeatability(assay, sample).zip(repeatability(assay, again));
        let Some(((u1, dof1), (u2, dof2))) = known else {
            continue;
        };
        let [a, b] = [&sample.results[0], &again.results[0]];
        let difference = b.value / a.value - 1.0;
        let limit = student_t_two_sided_quantile(LEVEL, dof1.min(dof2)) * u1.hypot(u2);
        if difference.abs() > limit {
            findings.push(
                Finding::new(
                    "titrations-disagree",
                    Severity::Doubt,
                    format!(
                        "Two titrations of it give {} and {}, {} apart; repeatability leads to expect less than {}.",
                        said(a, a.value),
                        said(b, b.value),
                        percent(difference),
                        percent(limit)
                    ),
                    "Titrate it a third time, from a fresh portion.",
                )
                .of([sample.spec.id.clone()])
                .sized(100.0 * difference, "%"),
            );
        }
    }
    findings
}

/// A limit of precision at this value of a result, in its unit; none if it is stated in another quantity.
pub(super) fn limit_at(reported: &Reported, plan: &LimitPlan, value: f64) -> Option<f64> {
    let constant = match &plan.constant {
        Some(written) => in_unit_of(reported, written.quantity())?,
        None => 0.0,
    };
    let share = plan.share.as_ref().map_or(0.0, |share| share.value());
    Some(constant + share * value.abs())
}

/// Relative standard uncertainty of a sample's first result by the scatter of its runs alone, with its degrees of
/// freedom.
pub(super) fn repeatability(assay: &Assay, sample: &SampleOutcome) -> Option<(f64, f64)> {
    let one = One {
        assay,
        sample,
        profile: crate::rule_profile::RuleProfile::shipped().first()?,
    };
    let (mut sum, mut dof) = (0.0, f64::INFINITY);
    for titration in &sample.titrations {
        let runs = one.counting(titration).len() as f64;
        let titre = one.mean_titre(titration)?;
        let effect = one.effect_on(titration, &sample.results[0]);
        let part = effect * titre * titration.scatter.used / runs.sqrt();
        if part != 0.0 && part.is_finite() {
            sum += part * part;
            dof = dof.min(titration.scatter.degrees_of_freedom);
        }
    }
    (sum > 0.0).then_some((sum.sqrt(), dof))
}
