//! Samples of known content that are off: by a known slip, by the blank, or by more than both uncertainties.
//!
//! Source: z and zeta scores with their limits 2 and 3 as in ISO 13528; the comparison with a published reproducibility
//! after ISO 5725-6, 4.2.3 (from memory).

use super::repeats::{holds_for, limit_at};
use super::{One, capital, said, slip::slip};
use crate::assay::SampleOutcome;
use crate::evaluation::RunStatus;
use crate::finding::{Finding, Severity};
use crate::findings::words::{digits, percent, signed_ml};
use crate::method::BlankPlan;

/// |zeta| above which a check sample is doubted, and above which the work it checks is.
const WARNING: f64 = 2.0;
const ACTION: f64 = 3.0;

/// Two results of different laboratories differ by less than this times the standard deviation 95 times in 100 (ISO 5725).
const LIMIT_OVER_SD: f64 = 2.8;

/// A sample of known content that is off.
pub(super) fn off(one: &One<'_>) -> Option<Finding> {
    let sample = one.sample;
    let first = &sample.results[0];
    let expected = expected(sample)?;
    let zeta = sample.zeta?;
    let published = Published::of(one, expected);
    let beyond = published.as_ref().is_some_and(|p| p.beyond);
    if zeta.abs() <= WARNING && !beyond {
        return None;
    }
    let off = first.value / expected - 1.0;
    let z = published.as_ref().map_or_else(String::new, |p| {
        format!("; z {} by the reproducibility of {}", signed(p.z), p.source)
    });
    let what = format!(
        "{} is {}, {} {} than the {} expected (zeta {}{z})",
        first.name,
        said(first, first.value),
        percent(off),
        if off < 0.0 { "less" } else { "more" },
        said(first, expected),
        signed(zeta)
    );
    if let Some(found) = slip(one, first.value / expected) {
        let finding = Finding::new(
            "known-ratio",
            Severity::Doubt,
            format!(
                "The {what}: close to {} times as much. {}?",
                found.written(),
                capital(&found.meaning)
            ),
            "Check label, unit, basis and dilution against the sheet before anything is titrated again.",
        );
        return Some(
            finding
                .sized(first.value / expected, "times expected")
                .shifting(off),
        );
    }
    if let Some(finding) = blank(one, expected, off, &what) {
        return Some(finding);
    }
    let (means, next) = if zeta.abs() > ACTION {
        (
            "more than the uncertainties of both can make: the work since the last good check is in doubt",
            "Find the cause before results are given out: fresh check sample, titrant standardized again, blank repeated.",
        )
    } else if zeta.abs() > WARNING {
        (
            "at the edge of what the uncertainties of both can make",
            "Titrate the check sample once more.",
        )
    } else {
        (
            "further than laboratories that work by the method are from the truth; only a large uncertainty of its own covers it",
            "See what makes the uncertainty large, and titrate the check sample once more.",
        )
    };
    let finding = Finding::new(
        "check-sample-off",
        Severity::Doubt,
        format!("The {what}, {means}."),
        next,
    );
    Some(finding.sized(zeta, "zeta").shifting(off))
}

/// The deviation against a published reproducibility.
struct Published {
    /// Deviation over the standard deviation between laboratories.
    z: f64,
    /// True if a mean of so many runs is off by more than its critical difference.
    beyond: bool,
    source: String,
}

impl Published {
    fn of(one: &One<'_>, expected: f64) -> Option<Self> {
        let first = &one.sample.results[0];
        let plans = one.assay.method.precision.iter();
        let plan = plans
            .clone()
            .find(|plan| holds_for(first, plan, expected))?;
        let reproducibility = limit_at(first, plan.reproducibility.as_ref()?, expected)?;
        let repeatability = limit_at(first, &plan.repeatability, expected)?;
        let runs = one.sample.runs.iter();
        let n = runs.filter(|r| r.status == RunStatus::Counts).count() as f64;
        let variance = reproducibility.powi(2) - repeatability.powi(2) * (1.0 - 1.0 / n);
        let off = first.value - expected;
        (reproducibility > 0.0).then(|| Self {
            z: off * LIMIT_OVER_SD / reproducibility,
            beyond: off.abs() > (variance.max(0.0) / 2.0).sqrt(),
            source: plan.source.clone(),
        })
    }
}

fn signed(score: f64) -> String {
    let sign = if score < 0.0 { '\u{2212}' } else { '+' };
    format!("{sign}{}", digits(score.abs(), 2))
}

/// What is expected of a sample, in the unit of its first result.
pub(super) fn expected(sample: &SampleOutcome) -> Option<f64> {
    sample.expected.filter(|value| *value != 0.0)
}

/// A blank that, taken another way, would explain the deviation.
fn blank(one: &One<'_>, expected: f64, off: f64, what: &str) -> Option<Finding> {
    if one.assay.method.blank == BlankPlan::Reagent {
        return None;
    }
    let first = &one.sample.results[0];
    let u = (off * expected / one.sample.zeta?).abs();
    let mut best: Option<(f64, &str, f64)> = None;
    for titration in &one.sample.titrations {
        let Some(blank) = titration.blank else {
            continue;
        };
        let effect = one.effect_on(titration, first);
        for (times, way) in [
            (1.0, "as if the blank had not to be taken off"),
            (2.0, "as if the blank had to be added"),
        ] {
            let value = first.value * (1.0 + effect * blank * times);
            let away = (value - expected).abs();
            if away <= WARNING * u && best.is_none_or(|(least, ..)| away < least) {
                best = Some((away, way, blank));
            }
        }
    }
    let (_, way, blank) = best?;
    Some(
        Finding::new(
            "blank-wrong-way",
            Severity::Doubt,
            format!(
                "The {what}, {way} ({}). A blank belongs to what its reagents take in every run alike.",
                signed_ml(blank)
            ),
            "See whether the blank was done with the reagents of the runs, and whether the titrant was standardized with a blank of its own.",
        )
        .sized(blank, "mL")
        .shifting(off),
    )
}
