//! Duplicates against a published repeatability limit, and one sample titrated twice on a sheet.

use super::{One, in_unit_of, said};
use crate::assay::{Assay, Reported, SampleOutcome};
use crate::evaluation::RunStatus;
use crate::finding::{Finding, Severity};
use crate::findings::words::percent;
use crate::method::{LimitPlan, Method, PrecisionPlan};
use metrology::quantiles::student_t_two_sided_quantile;

/// Range of n results that is exceeded once in twenty, over the standard deviation (ISO 5725-6, critical range; from
/// memory, as tables of the studentized range print it): from two results on.
const CRITICAL_RANGE: [f64; 9] = [2.8, 3.3, 3.6, 3.9, 4.0, 4.2, 4.3, 4.4, 4.5];

/// Level of a difference between two results of one sample.
const LEVEL: f64 = 0.01;

/// How far the runs of a sample lie apart, against the method's published repeatability limit; in the unit of the first
/// result.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Runs that count.
    pub runs: usize,
    /// Largest less smallest value of the first result by one run.
    pub range: f64,
    /// What so many runs exceed once in twenty.
    pub limit: f64,
    /// Where the limit was published.
    pub source: String,
}

/// The runs of a sample against the limits that the method publishes for its first result.
pub fn agreement(method: &Method, sample: &SampleOutcome) -> Vec<Agreement> {
    let first = &sample.results[0];
    // Portions with different additions are no duplicates.
    if sample.addition.is_some() {
        return Vec::new();
    }
    let values: Vec<f64> = counting(sample).map(|(_, value)| value).collect();
    let n = values.len();
    let Some(critical) = n
        .checked_sub(2)
        .map(|i| CRITICAL_RANGE[i.min(CRITICAL_RANGE.len() - 1)])
    else {
        return Vec::new();
    };
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mean = values.iter().sum::<f64>() / n as f64;
    let plans = method.precision.iter();
    plans
        .filter(|plan| holds_for(first, plan, mean))
        .filter_map(|plan| {
            let r = limit_at(first, &plan.repeatability, mean).filter(|r| *r > 0.0)?;
            Some(Agreement {
                runs: n,
                range: most - least,
                // r is the critical range of two.
                limit: r * critical / CRITICAL_RANGE[0],
                source: plan.source.clone(),
            })
        })
        .collect()
}

/// Runs that count, with the first result by each alone.
fn counting(sample: &SampleOutcome) -> impl Iterator<Item = (&str, f64)> {
    sample
        .runs
        .iter()
        .filter(|run| run.status == RunStatus::Counts)
        .filter_map(|run| Some((run.name.as_str(), run.value?)))
}

/// Runs further apart than the method's repeatability limit.
pub(super) fn duplicates(one: &One<'_>) -> Vec<Finding> {
    let first = &one.sample.results[0];
    let judged = agreement(&one.assay.method, one.sample);
    judged
        .into_iter()
        .filter(|agreement| agreement.range > agreement.limit)
        .map(|Agreement { runs, range, limit, source }| {
            let many = if runs == 2 {
                "The two runs".to_string()
            } else {
                format!("The {runs} runs")
            };
            Finding::new(
                "duplicates-apart",
                Severity::RuleBroken,
                format!(
                    "{many} differ by {}; the method's repeatability limit allows {} ({source}).",
                    said(first, range),
                    said(first, limit)
                ),
                "Do two more runs; if all four agree within the limit for four, give their mean, otherwise look for the cause.",
            )
            .about(counting(one.sample).map(|(name, _)| name))
            .sized(range / limit, "times the limit")
        })
        .collect()
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

/// True if a published precision was found for this result at this value.
pub(super) fn holds_for(reported: &Reported, plan: &PrecisionPlan, value: f64) -> bool {
    let end = |written: &Option<crate::sheet::Written<crate::sheet::Anything>>, none| match written
    {
        Some(written) => in_unit_of(reported, written.quantity()),
        None => Some(none),
    };
    let (from, to) = (
        end(&plan.from, f64::NEG_INFINITY),
        end(&plan.to, f64::INFINITY),
    );
    plan.result == reported.name
        && from
            .zip(to)
            .is_some_and(|(from, to)| (from..=to).contains(&value))
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
    if sample.addition.is_some() {
        let first = &sample.results[0];
        let inputs = first.formula.inputs();
        for line in &first.budget.lines {
            let input = &inputs[line.input];
            if input.group == "repeatability" {
                sum += (line.contribution / first.budget.value).powi(2);
                dof = dof.min(input.degrees_of_freedom);
            }
        }
        return (sum > 0.0).then_some((sum.sqrt(), dof));
    }
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
