//! Readings that do not chain from run to run.
//!
//! The level in a burette stays where a run left it until somebody refills: the next initial reading is the last final
//! reading, or a new level after a refill. A level that rose a little by itself, or titrant that is gone without a run,
//! says that something is missing on the sheet.

use super::case::Case;
use super::words::ml;
use crate::finding::{Finding, Severity};
use crate::sheet::RunSpec;

/// Two readings of one and the same level differ by no more (both read to a fifth of a 0.1 mL division).
const SAME_LEVEL_ML: f64 = 0.045;

/// Nobody refills by less than this.
const LEAST_REFILL_ML: f64 = 1.0;

/// Gaps between consecutive runs.
pub(super) fn broken(case: &Case<'_>, explained: &[String]) -> Vec<Finding> {
    let specs = case.facts.specs;
    let mut findings = Vec::new();
    for (index, pair) in specs.windows(2).enumerate() {
        let names = [case.facts.run_name(index), case.facts.run_name(index + 1)];
        let other_hand = case.analyst(&pair[0]) != case.analyst(&pair[1]);
        if other_hand || names.iter().any(|name| explained.contains(name)) {
            continue;
        }
        let Some((last, next)) = levels(&pair[0], &pair[1]) else {
            continue;
        };
        let [before, after] = &names;
        let gap = next - last;
        let (message, step) = if gap > SAME_LEVEL_ML {
            let titre = case.mean_titre().unwrap_or(f64::INFINITY);
            let missing = if (gap / titre - 1.0).abs() < 0.1 {
                "As much as a run takes: is one missing on the sheet?"
            } else {
                "Did it run off or leak, or is a run missing on the sheet?"
            };
            (
                format!(
                    "Run {before} ended at {last:.2} mL and run {after} began at {next:.2} mL: {} is gone. {missing}",
                    ml(gap)
                ),
                "Write down every run, spoiled ones too (set aside with a reason); check that the tap is tight.",
            )
        } else if gap < -SAME_LEVEL_ML && gap > -LEAST_REFILL_ML {
            (
                format!(
                    "Run {before} ended at {last:.2} mL and run {after} began at {next:.2} mL: the level rose by {}, too little for a refill. Was a reading taken before the film had drained, or miswritten?",
                    ml(gap)
                ),
                "Compare both readings with the first entries; wait half a minute before a final reading.",
            )
        } else {
            continue;
        };
        findings.push(
            Finding::new("readings-do-not-chain", Severity::Note, message, step)
                .about(names)
                .sized(gap, "mL"),
        );
    }
    findings
}

/// Last level of one run and first level of the next, in mL.
fn levels(before: &RunSpec, after: &RunSpec) -> Option<(f64, f64)> {
    let last = before
        .refill
        .last()
        .map(|fill| &fill.final_reading)
        .or(before.final_reading.as_ref())?;
    Some((last.value(), after.initial.as_ref()?.value()))
}

#[cfg(test)]
mod tests {
    use super::super::made::{Made, codes};
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    fn found(pairs: &[(&str, &str)]) -> Vec<Finding> {
        let evaluation = Made::readings(Layout::SoughtInFlask, pairs).evaluate();
        broken(
            &Case::of(&evaluation, RuleProfile::named("house").unwrap()),
            &[],
        )
    }

    #[test]
    fn refilled_or_carried_on_readings_chain() {
        for pairs in [
            [("0.02", "12.54"), ("12.54", "25.05"), ("25.06", "37.60")],
            [("0.02", "12.54"), ("0.00", "12.51"), ("0.13", "12.67")],
        ] {
            assert!(found(&pairs).is_empty(), "{pairs:?}");
        }
    }

    #[test]
    fn titrant_that_is_gone_is_missed() {
        let findings = found(&[("0.02", "12.54"), ("12.90", "25.41")]);
        assert_eq!(codes(&findings), ["readings-do-not-chain"]);
        assert!(
            findings[0]
                .message
                .contains("0.36 mL is gone. Did it run off"),
            "{findings:?}"
        );
        let findings = found(&[("0.02", "12.54"), ("25.08", "37.60")]);
        assert!(
            findings[0].message.contains("As much as a run takes"),
            "{findings:?}"
        );
    }

    #[test]
    fn a_level_that_rose_is_no_refill() {
        let findings = found(&[("0.02", "12.54"), ("12.42", "24.95")]);
        assert!(
            findings[0].message.contains("rose by 0.12 mL"),
            "{findings:?}"
        );
    }

    #[test]
    fn two_analysts_use_two_burettes() {
        let made = Made::readings(
            Layout::SoughtInFlask,
            &[("0.02", "12.54"), ("14.00", "26.50")],
        )
        .analysts(&["Ada", "Bo"]);
        let evaluation = made.evaluate();
        let case = Case::of(&evaluation, RuleProfile::named("house").unwrap());
        assert!(broken(&case, &[]).is_empty());
    }
}
