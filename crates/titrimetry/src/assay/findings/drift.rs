//! What changes while samples are titrated: check samples before and after them differ.
//!
//! Nothing is corrected for a drift; it is said, and the samples between are named.

use super::check::expected;
use super::repeats::repeatability;
use crate::assay::Assay;
use crate::finding::{Finding, Severity};
use crate::findings::words::{list, percent};
use metrology::quantiles::student_t_two_sided_quantile;

/// Level of the whole comparison, shared by its pairs.
const LEVEL: f64 = 0.05;

/// A check sample: where it stands, found over expected, its standard uncertainty by the scatter of runs.
struct Check {
    index: usize,
    ratio: f64,
    u: f64,
    dof: f64,
}

/// Check samples that differ from one another: the results between them are in doubt.
pub(super) fn checks(assay: &Assay) -> Vec<Finding> {
    let checks: Vec<Check> = assay
        .samples
        .iter()
        .enumerate()
        .filter_map(|(index, sample)| {
            let (u, dof) = repeatability(assay, sample)?;
            let ratio = sample.results[0].value / expected(sample)?;
            Some(Check {
                index,
                ratio,
                u: u * ratio.abs(),
                dof,
            })
        })
        .collect();
    let mut pairs: Vec<(&Check, &Check)> = checks.windows(2).map(|p| (&p[0], &p[1])).collect();
    // A slow drift shows from the first to the last only.
    if let [first, _, .., last] = checks.as_slice()
        && checks.len() > 2
    {
        pairs.push((first, last));
    }
    let level = LEVEL / pairs.len().max(1) as f64;
    let found: Vec<Change> = pairs
        .into_iter()
        .filter_map(|(before, after)| Change::between(before, after, level))
        .collect();
    // What the steps show need not be said of the whole again.
    let steps = found.iter().filter(|c| c.is_step(&checks)).count();
    found
        .iter()
        .filter(|change| steps == 0 || change.is_step(&checks))
        .map(|change| change.finding(assay))
        .collect()
}

/// A change that repeatability does not explain.
struct Change {
    from: usize,
    to: usize,
    change: f64,
    limit: f64,
}

impl Change {
    fn between(before: &Check, after: &Check, level: f64) -> Option<Self> {
        let change = after.ratio / before.ratio - 1.0;
        let u = before.u.hypot(after.u) / before.ratio.abs();
        let limit = student_t_two_sided_quantile(level, before.dof.min(after.dof)) * u;
        (change.abs() > limit).then_some(Self {
            from: before.index,
            to: after.index,
            change,
            limit,
        })
    }

    /// True if no other check stands between the two.
    fn is_step(&self, checks: &[Check]) -> bool {
        !checks
            .iter()
            .any(|c| c.index > self.from && c.index < self.to)
    }

    fn finding(&self, assay: &Assay) -> Finding {
        let between: Vec<&str> = assay.samples[self.from + 1..self.to]
            .iter()
            .map(|s| s.spec.id.as_str())
            .collect();
        let [first, second] = [self.from, self.to].map(|i| assay.samples[i].spec.id.as_str());
        let names = if between.is_empty() {
            String::new()
        } else {
            format!(" Between them: {}.", list(&between))
        };
        Finding::new(
            "check-drift",
            Severity::Doubt,
            format!(
                "From check {first} to check {second} the result went {} by {}, where repeatability leads to expect less than {}.{names} A titrant that changes, a burette that leaks or an electrode that ages does this. No result was corrected for it.",
                if self.change < 0.0 { "down" } else { "up" },
                percent(self.change),
                percent(self.limit)
            ),
            "Standardize the titrant again, and titrate the samples between the checks once more.",
        )
        .of([first, second])
        .sized(100.0 * self.change, "%")
        .shifting(self.change)
    }
}
