//! The rules of the profile: what was asked, what was seen, by how much.

mod agreement;
mod limits;

#[cfg(test)]
mod tests;

use super::case::Case;
use super::words::digits;
use crate::finding::{Finding, Severity};
use crate::rule_profile::Rule;
use std::collections::BTreeMap;

/// Volumes are compared to a thousandth of a mL, so that 24.50 and 24.60 are within 0.10 mL of one another.
const NEAREST_ML: f64 = 0.001;

/// A computed percentage that equals its limit but for the last bits is not above it.
const SAME: f64 = 1e-9;

/// Every rule that is broken, or that could not be judged.
pub(super) fn broken_rules(case: &Case<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(too_few_runs(case));
    findings.extend(too_few_of_an_analyst(case));
    findings.extend(agreement::not_concordant(case));
    findings.extend(agreement::rsd(case));
    findings.extend(agreement::ranges(case));
    findings.extend(limits::nominal(case));
    findings.extend(limits::titre_of_burette(case));
    findings.extend(limits::reading_step(case));
    findings.extend(limits::expanded_uncertainty(case));
    findings
}

fn broken(
    case: &Case<'_>,
    code: &'static str,
    seen: &str,
    asked: &str,
    next: impl Into<String>,
) -> Finding {
    let message = format!(
        "{seen}; the rules \"{}\" ask for {asked}.",
        case.profile.name
    );
    Finding::new(code, Severity::RuleBroken, message, next)
}

/// A rule that the data do not reach is no pass.
fn not_judged(case: &Case<'_>, rule: &str, why: &str, next: &str) -> Finding {
    let message = format!(
        "The rules \"{}\" limit {rule}, which cannot be judged: {why}.",
        case.profile.name
    );
    Finding::new("rule-not-judged", Severity::Doubt, message, next)
}

/// A percentage to one digit more than its limit is written with, and never rounded onto the limit.
fn beside(seen: f64, limit: f64) -> String {
    (2..=8)
        .map(|count| digits(seen, count))
        .find(|text| text.parse() != Ok(limit))
        .unwrap_or_else(|| seen.to_string())
}

fn too_few_runs(case: &Case<'_>) -> Option<Finding> {
    let asked = case.profile.least_runs.as_ref()?.limit as usize;
    let n = case.titres.len();
    (n < asked).then(|| {
        let seen = match n {
            1 => "One run counts".to_string(),
            n => format!("{n} runs count"),
        };
        let missing = asked - n;
        let more = if missing == 1 {
            "Titrate once more.".to_string()
        } else {
            format!("Titrate {missing} times more.")
        };
        broken(
            case,
            "too-few-runs",
            &seen,
            &format!("{asked} or more"),
            more,
        )
        .about(case.names())
        .sized(missing as f64, "runs")
    })
}

/// The runs of each analyst, by name.
fn by_analyst<'a>(case: &'a Case<'a>) -> BTreeMap<&'a str, Vec<usize>> {
    let mut all: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (index, titre) in case.titres.iter().enumerate() {
        all.entry(case.analyst(titre.spec).unwrap_or_default())
            .or_default()
            .push(index);
    }
    all
}

fn too_few_of_an_analyst(case: &Case<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let analysts = by_analyst(case);
    let named = analysts.keys().filter(|name| !name.is_empty()).count();
    if let Some(asked) = case.profile.analysts.as_ref().map(|r| r.limit as usize)
        && named < asked
    {
        let seen = match named {
            0 => "No run says who did it".to_string(),
            1 => "One analyst did the runs".to_string(),
            n => format!("{n} analysts did the runs"),
        };
        let next = "Let another analyst titrate, and write who did each run (analyst).";
        findings.push(
            broken(
                case,
                "too-few-analysts",
                &seen,
                &format!("{asked} analysts"),
                next,
            )
            .sized((asked - named) as f64, "analysts"),
        );
    }
    if let Some(asked) = &case.profile.least_runs_per_analyst {
        // Runs that nobody signed are nobody's.
        for (name, runs) in analysts.into_iter().filter(|(name, _)| !name.is_empty()) {
            let n = runs.len();
            if n < asked.limit as usize {
                let what = if n == 1 { "run" } else { "runs" };
                let seen = format!("{name} has {n} {what} that count");
                let asks = format!("{} or more of each analyst", asked.limit);
                let next = format!("{} more by {name}.", asked.limit as usize - n);
                findings.push(
                    broken(case, "too-few-runs-of-analyst", &seen, &asks, next)
                        .about(runs.iter().map(|&i| case.titres[i].name()))
                        .sized((asked.limit as usize - n) as f64, "runs"),
                );
            }
        }
    }
    findings
}

fn above(seen: f64, rule: &Rule<f64>) -> bool {
    seen > rule.limit * (1.0 + SAME)
}
