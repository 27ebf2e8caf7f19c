//! What the record shows and a reader must not miss: corrected readings, runs set aside, values without a certificate,
//! an assumed repeatability.

use super::case::{Case, mean};
use super::words::{list, percent};
use crate::evaluation::{RunStatus, ScatterRule};
use crate::finding::{Finding, Severity};
use crate::sheet::{CorrectionSpec, ReadingName, RunSpec};

/// Notes on the record.
pub(super) fn notes(case: &Case<'_>) -> Vec<Finding> {
    let mut findings = corrected(case);
    findings.extend(set_aside(case));
    findings.extend(uncertified(case));
    findings.extend(assumed_repeatability(case));
    findings
}

fn corrected(case: &Case<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, run) in case.facts.specs.iter().enumerate() {
        for (at, correction) in run.corrected.iter().enumerate() {
            let name = case.facts.run_name(index);
            let (reading, now) = reading_of(run, correction);
            // One that was put right more than once is told step by step.
            let mut later = run.corrected[at + 1..].iter();
            let became = match later.find(|later| later.reading == correction.reading) {
                Some(later) => format!("became {}", later.was),
                None => format!("is now {now}"),
            };
            let reason = reason(&correction.reason);
            let by = correction
                .by
                .as_deref()
                .map_or_else(String::new, |by| format!(", by {by}"));
            findings.push(
                Finding::new(
                    "reading-corrected",
                    reason.severity,
                    format!(
                        "Run {name}: {reading} was {} and {became}{by}; {}.",
                        correction.was, reason.text
                    ),
                    reason.next,
                )
                .about([name]),
            );
        }
    }
    findings
}

fn reading_of(run: &RunSpec, correction: &CorrectionSpec) -> (&'static str, String) {
    let shown = |value: Option<String>| value.unwrap_or_else(|| "left out".into());
    match correction.reading {
        ReadingName::Initial => (
            "the initial reading",
            shown(run.initial.as_ref().map(ToString::to_string)),
        ),
        ReadingName::Final => (
            "the final reading",
            shown(run.final_reading.as_ref().map(ToString::to_string)),
        ),
        ReadingName::Mass => (
            "the mass",
            shown(run.mass.as_ref().map(ToString::to_string)),
        ),
        ReadingName::Gross => (
            "the gross mass",
            shown(run.gross.as_ref().map(ToString::to_string)),
        ),
        ReadingName::Tare => (
            "the tare",
            shown(run.tare.as_ref().map(ToString::to_string)),
        ),
    }
}

struct Reason {
    text: String,
    severity: Severity,
    next: &'static str,
}

/// A change without a reason is worth a doubt.
fn reason(text: &str) -> Reason {
    if text.trim().is_empty() {
        Reason {
            text: "no reason is given".into(),
            severity: Severity::Doubt,
            next: "Write the reason; without one the first entry stands.",
        }
    } else {
        Reason {
            text: format!("reason: {}", text.trim()),
            severity: Severity::Note,
            next: "Nothing to do; the first entry is kept.",
        }
    }
}

fn set_aside(case: &Case<'_>) -> Vec<Finding> {
    let counting: Vec<f64> = case
        .facts
        .counting()
        .filter_map(|run| run.concentration)
        .collect();
    let mut findings = Vec::new();
    for run in case.facts.own_runs() {
        let RunStatus::SetAside(why) = &run.status else {
            continue;
        };
        let reason = reason(why);
        let all = counting.iter().copied().chain(run.concentration);
        let with = mean(all)
            .zip(mean(counting.iter().copied()))
            .map(|(with, without)| with / without - 1.0)
            .filter(|_| run.concentration.is_some());
        let moved = with.map_or_else(String::new, |moved| {
            let way = if moved < 0.0 { "lower" } else { "higher" };
            format!(" With it the mean would be {} {way}.", percent(moved))
        });
        let mut finding = Finding::new(
            "run-set-aside",
            reason.severity,
            format!("Run {} does not count; {}.{moved}", run.name, reason.text),
            reason.next,
        )
        .about([run.name.clone()]);
        if let Some(moved) = with {
            finding = finding.sized(100.0 * moved, "%");
        }
        findings.push(finding);
    }
    findings
}

fn uncertified(case: &Case<'_>) -> Option<Finding> {
    let known = &case.facts.determination?.sheet.known;
    let missing = |certificate: &Option<String>| {
        certificate
            .as_deref()
            .is_none_or(|text| text.trim().is_empty())
    };
    let mut what = Vec::new();
    if known
        .purity
        .as_ref()
        .is_some_and(|p| missing(&p.certificate))
    {
        what.push("purity");
    }
    if known
        .concentration
        .as_ref()
        .is_some_and(|c| missing(&c.certificate))
    {
        what.push("concentration");
    }
    (!what.is_empty()).then(|| {
        Finding::new(
            "no-certificate",
            Severity::Note,
            format!(
                "The {} of {} is stated without a certificate: the result is no better than that value, and not traceable beyond it.",
                list(&what),
                known.substance
            ),
            "Write the certificate's number (certificate), or use a standard that has one.",
        )
    })
}

fn assumed_repeatability(case: &Case<'_>) -> Option<Finding> {
    let scatter = case.facts.scatter;
    (!scatter.earlier.given && scatter.rule == ScatterRule::Pooled).then(|| {
        Finding::new(
            "assumed-repeatability",
            Severity::Note,
            format!(
                "No repeatability of earlier work is given; {} of one run is assumed ({}).",
                percent(scatter.earlier.relative),
                scatter.earlier.source
            ),
            "Pool the scatter of earlier sets by the same hand and give it as the repeatability.",
        )
        .sized(100.0 * scatter.earlier.relative, "%")
    })
}

#[cfg(test)]
mod tests {
    use super::super::made::{Made, codes};
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made) -> Vec<Finding> {
        let evaluation = made.evaluate();
        notes(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn a_clean_sheet_with_certificate_leaves_only_the_assumption() {
        for layout in LAYOUTS {
            assert_eq!(
                codes(&found(&Made::clean(layout))),
                ["assumed-repeatability"]
            );
            assert!(found(&Made::clean(layout).repeatability("0.10 %", 12)).is_empty());
        }
    }

    #[test]
    fn a_run_set_aside_is_told_with_what_it_would_do() {
        for layout in LAYOUTS {
            let made = Made::titres(layout, &[24.53, 24.50, 25.51, 24.52])
                .set_aside(2, "overshot")
                .repeatability("0.10 %", 12);
            let findings = found(&made);
            assert_eq!(codes(&findings), ["run-set-aside"]);
            assert_eq!(findings[0].severity, Severity::Note);
            let higher = findings[0].message.contains("higher");
            assert_eq!(higher, layout == Layout::SoughtInFlask, "{findings:?}");
        }
    }

    #[test]
    fn a_correction_shows_old_and_new() {
        let made = Made::clean(LAYOUTS[0])
            .corrected(1, "24.25 mL", "digits swapped")
            .repeatability("0.10 %", 12);
        let findings = found(&made);
        assert_eq!(codes(&findings), ["reading-corrected"]);
        assert!(
            findings[0]
                .message
                .contains("was 24.25 mL and is now 24.60 mL"),
            "{findings:?}"
        );
        let twice = Made::clean(LAYOUTS[0])
            .corrected(1, "24.25 mL", "digits swapped")
            .corrected(1, "26.40 mL", "read again")
            .repeatability("0.10 %", 12);
        let told: Vec<String> = found(&twice).into_iter().map(|f| f.message).collect();
        assert!(
            told[0].contains("was 24.25 mL and became 26.40 mL"),
            "{told:?}"
        );
        assert!(
            told[1].contains("was 26.40 mL and is now 24.60 mL"),
            "{told:?}"
        );
        let silent = Made::clean(LAYOUTS[0]).corrected(1, "24.25 mL", " ");
        assert_eq!(found(&silent)[0].severity, Severity::Doubt);
    }

    #[test]
    fn a_value_without_certificate_is_noted() {
        let made = Made::clean(LAYOUTS[1])
            .uncertified()
            .repeatability("0.10 %", 12);
        assert_eq!(codes(&found(&made)), ["no-certificate"]);
    }
}
