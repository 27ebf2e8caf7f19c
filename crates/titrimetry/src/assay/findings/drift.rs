//! What changes while samples are titrated: check samples before and after them differ, the titrant does so when it is
//! standardized again.
//!
//! Nothing is corrected for a drift; it is said, and the samples between are named.

use super::check::expected;
use super::repeats::repeatability;
use crate::assay::{Assay, SampleKind};
use crate::finding::{Finding, Severity};
use crate::findings::words::{digits, list, percent};
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
    if assay.samples.len() < 2 {
        return Vec::new();
    }
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

/// A titrant that is another when it is standardized again.
pub(super) fn titrant(assay: &Assay) -> Vec<Finding> {
    let changed = assay.rechecks.iter().filter(|r| r.is_significant());
    changed
        .map(|recheck| {
            let names: Vec<&str> = recheck
                .samples
                .iter()
                .map(|i| assay.samples[*i].spec.id.as_str())
                .collect();
            let effects = recheck.effects.iter().copied();
            let effect = effects.fold(0.0, |most: f64, e| if e.abs() > most.abs() { e } else { most });
            let names_text = list(&names);
            Finding::new(
                "titrant-changed",
                Severity::Doubt,
                format!(
                    "Standardized again after {}, the titrant is {} mol/L, {} {} than counted with; the two standardizations lead to expect less than {}. If it was so already then, {names_text} read up to {} {}. No result was corrected for it.",
                    recheck.after,
                    digits(recheck.concentration, 5),
                    percent(recheck.change),
                    if recheck.change < 0.0 { "less" } else { "more" },
                    percent(recheck.expanded),
                    percent(effect),
                    if effect < 0.0 { "low" } else { "high" },
                ),
                "Standardize a third time; if the new value stands, evaluate the samples since the last good check with it, or titrate them again.",
            )
            .of(names)
            .sized(100.0 * recheck.change, "%")
            .shifting(effect)
        })
        .collect()
}

/// More samples between checks than the sheet asks for.
pub(super) fn too_few_checks(assay: &Assay) -> Option<Finding> {
    let every = assay.sheet.check_every?;
    let mut longest: Vec<&str> = Vec::new();
    let mut run: Vec<&str> = Vec::new();
    for sample in &assay.samples {
        if sample.spec.kind == SampleKind::Check {
            run.clear();
        } else {
            run.push(&sample.spec.id);
        }
        if run.len() > longest.len() {
            longest.clone_from(&run);
        }
    }
    let n = longest.len();
    (n > every).then(|| {
        Finding::new(
            "check-missing",
            Severity::Doubt,
            format!(
                "{n} samples stand without a check sample between them, from {} to {}; the sheet asks for one after every {every}.",
                longest[0],
                longest[n - 1]
            ),
            "Titrate a check sample now; if it is off, all of these are in doubt.",
        )
        .sized(n as f64, "samples")
    })
}
