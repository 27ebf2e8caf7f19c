//! Rules on how well runs agree: concordance, RSD, range.

use super::super::case::{Case, range};
use super::super::words::{digits, list, ml};
use super::{NEAREST_ML, SAME, above, beside, broken, by_analyst, not_judged};
use crate::finding::{Finding, Severity};
use crate::rule_profile::Rule;
use metrology::replicates::Replicates;

/// The most values that lie within `limit` of one another, as positions; the tightest such group.
fn tightest_group(values: &[f64], limit: f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let spread = |group: &[usize]| values[group[group.len() - 1]] - values[group[0]];
    let within =
        |group: &&[usize]| (spread(group) / NEAREST_ML).round() * NEAREST_ML <= limit + SAME;
    for size in (1..=order.len()).rev() {
        let best = order
            .windows(size)
            .filter(within)
            .min_by(|a, b| spread(a).total_cmp(&spread(b)));
        if let Some(best) = best {
            return best.to_vec();
        }
    }
    Vec::new()
}

pub(super) fn not_concordant(case: &Case<'_>) -> Option<Finding> {
    let limit = case.profile.concordant_within_ml.as_ref()?.limit;
    let deviations = case.deviations();
    let spread = range(&deviations)?;
    let group = tightest_group(&deviations, limit);
    let asked = case
        .profile
        .concordant_runs
        .as_ref()
        .map_or(deviations.len(), |rule| rule.limit as usize);
    let corrected = if case
        .titres
        .iter()
        .any(|t| t.spec.mass.is_some() || t.spec.gross.is_some())
    {
        " once their masses are taken out"
    } else {
        ""
    };
    if group.len() < asked {
        let seen = format!("The titres differ by up to {}{corrected}", ml(spread));
        let asks = match &case.profile.concordant_runs {
            Some(rule) => format!("{} within {}", rule.limit, ml(limit)),
            None => format!("all within {}", ml(limit)),
        };
        return Some(
            broken(
                case,
                "not-concordant",
                &seen,
                &asks,
                "Titrate again until enough titres agree; keep the record of every run.",
            )
            .about(case.names())
            .sized(spread - limit, "mL")
            .shifting(case.effect_of_one(spread)),
        );
    }
    let outside: Vec<&str> = (0..deviations.len())
        .filter(|i| !group.contains(i))
        .map(|i| case.titres[i].name())
        .collect();
    (!outside.is_empty()).then(|| {
        let message = format!(
            "{} counted but not concordant: more than {} from {} that agree.",
            match outside.as_slice() {
                [one] => format!("Run {one} is"),
                _ => format!("Runs {} are", list(&outside)),
            },
            ml(limit),
            group.len(),
        );
        Finding::new(
            "discordant-run-averaged",
            Severity::Doubt,
            message,
            "If the bench book gives a reason, set the run aside with it; otherwise titrate once more.",
        )
        .about(outside)
        .sized(spread, "mL")
    })
}

pub(super) fn rsd(case: &Case<'_>) -> Option<Finding> {
    let rule = case.profile.rsd_percent.as_ref()?;
    let n = case.titres.len();
    let Some(seen) = case.facts.scatter.observed.map(|s| 100.0 * s) else {
        // Where the number of runs is a rule of its own, it has said so.
        let said = case
            .profile
            .least_runs
            .as_ref()
            .is_some_and(|r| r.limit > 1);
        return (!said && n > 0).then(|| {
            let why = "a single run shows no scatter";
            let mut finding = not_judged(case, "the RSD", why, "Titrate at least twice more.");
            finding.severity = Severity::Note;
            finding
        });
    };
    above(seen, rule).then(|| {
        let limit = rule.limit;
        broken(
            case,
            "rsd-too-large",
            &format!("RSD {} % (n = {n})", beside(seen, limit)),
            &format!(
                "at most {limit} % (exceeded by {} percentage points)",
                digits(seen - limit, 2)
            ),
            "Look at the findings below for the run or cause; then more runs.",
        )
        .about(case.names())
        .sized(seen, "%")
    })
}

/// Range over mean, in %.
pub(super) fn relative_range(values: &[f64]) -> Option<f64> {
    let summary = Replicates::of(values).ok()?;
    Some(100.0 * summary.range()? / summary.mean()?.abs())
}

pub(super) fn ranges(case: &Case<'_>) -> Vec<Finding> {
    let concentration = |i: usize| case.titres[i].run.concentration;
    let mut findings = Vec::new();
    let mut look = |code, rule: &Rule<f64>, who: &str, runs: Vec<usize>| {
        let values: Vec<f64> = runs.iter().filter_map(|&i| concentration(i)).collect();
        let Some(seen) = relative_range(&values) else {
            return;
        };
        if above(seen, rule) {
            let limit = rule.limit;
            findings.push(
                broken(
                    case,
                    code,
                    &format!(
                        "Range of {who} {} % (n = {})",
                        beside(seen, limit),
                        values.len()
                    ),
                    &format!(
                        "at most {limit} % (exceeded by {} percentage points)",
                        digits(seen - limit, 2)
                    ),
                    "Find the run that is off, or titrate again.",
                )
                .about(runs.iter().map(|&i| case.titres[i].name()))
                .sized(seen, "%"),
            );
        }
    };
    if let Some(rule) = &case.profile.range_percent_per_analyst {
        for (name, runs) in by_analyst(case) {
            if !name.is_empty() {
                let who = format!("the runs of {name}");
                look("range-of-analyst-too-large", rule, &who, runs);
            }
        }
    }
    if let Some(rule) = &case.profile.range_percent {
        let all = (0..case.titres.len()).collect();
        look("range-too-large", rule, "all runs", all);
    }
    findings
}
