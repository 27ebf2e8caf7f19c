//! How well the runs agree, as figures beside what the rules ask; and what one more run would bring.

use super::result::rounded;
use crate::text::{filled, t};
use maud::{Markup, html};
use notebook::Outcome;
use titrimetry::advice::with_more_runs;
use titrimetry::assay::{SampleOutcome, with_one_more_run};
use titrimetry::evaluation::{RunStatus, Scatter};

/// Less than this share of U is not worth a run.
const WORTH: f64 = 0.95;
/// Findings that say that a reading looks wrong: it is looked at before another run is thought of.
const LOOKS_WRONG: [&str; 4] = [
    "slip-of-the-pen",
    "odd-run",
    "rough-run-averaged",
    "discordant-run-averaged",
];

/// Runs that are compared with one another.
struct Set<'a> {
    name: String,
    /// How much each titre is off the mean of all, at its own mass or portion, mL.
    off: Vec<f64>,
    scatter: &'a Scatter,
}

fn sets(outcome: &Outcome) -> Vec<Set<'_>> {
    match outcome {
        Outcome::Standardization { evaluation, .. } => vec![Set {
            name: String::new(),
            off: evaluation
                .counting()
                .filter_map(|run| Some(run.titre - run.expected_titre?))
                .collect(),
            scatter: &evaluation.scatter,
        }],
        Outcome::Assay { assay, .. } => assay.samples.iter().flat_map(of_sample).collect(),
    }
}

fn of_sample(sample: &SampleOutcome) -> impl Iterator<Item = Set<'_>> {
    let several = sample.titrations.len() > 1;
    sample.titrations.iter().map(move |titration| Set {
        name: if several {
            format!("{}, {}: ", sample.spec.id, titration.name)
        } else {
            format!("{}: ", sample.spec.id)
        },
        off: sample
            .runs
            .iter()
            .filter(|run| run.titration == titration.name && run.status == RunStatus::Counts)
            .filter_map(|run| Some(run.titres.last()? - run.expected_titre?))
            .collect(),
        scatter: &titration.scatter,
    })
}

/// The spread and the standard deviation of each set of runs, beside the limits of the rules.
pub(crate) fn agreement(outcome: &Outcome) -> Markup {
    let profile = outcome.profile();
    let fine = match outcome {
        Outcome::Standardization { evaluation, .. } => evaluation.burette.graduation,
        Outcome::Assay { assay, .. } => assay.burette.graduation,
    } < 0.099;
    let decimals = if fine { 3 } else { 2 };
    let sets: Vec<Set<'_>> = sets(outcome)
        .into_iter()
        .filter(|set| set.off.len() > 1)
        .collect();
    html! {
        @if !sets.is_empty() {
            h2 { (t("result.agreement")) }
            @for set in &sets {
                @let most = set.off.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                @let least = set.off.iter().copied().fold(f64::INFINITY, f64::min);
                p.hide-blind {
                    (set.name)
                    (filled("result.spread", &[("spread", &format!("{:.decimals$}", most - least))]))
                    @if let Some(rule) = &profile.concordant_within_ml { " " span.quiet { (filled("result.spread_rule", &[("limit", &rule.limit.to_string())])) } }
                    @if let Some(rsd) = set.scatter.observed {
                        br; (filled("result.rsd", &[("rsd", &format!("{:.2}", 100.0 * rsd))]))
                        @if let Some(rule) = &profile.rsd_percent { " " span.quiet { (filled("result.rsd_rule", &[("limit", &rule.limit.to_string())])) } }
                    }
                }
            }
        }
    }
}

/// U of a result now and with one more run.
struct Gain {
    name: String,
    value: f64,
    unit: String,
    probability: Option<f64>,
    now: f64,
    then: f64,
}

fn gains(outcome: &Outcome) -> Vec<Gain> {
    match outcome {
        Outcome::Standardization { evaluation, .. } => with_more_runs(evaluation, 1)
            .map(|then| Gain {
                name: String::new(),
                value: evaluation.concentration(),
                unit: "mol/L".into(),
                probability: evaluation.expanded.probability,
                now: evaluation.expanded.expanded_uncertainty,
                then,
            })
            .into_iter()
            .collect(),
        Outcome::Assay { assay, .. } => assay
            .samples
            .iter()
            .filter_map(|sample| {
                let first = sample.results.first()?;
                Some(Gain {
                    name: format!("{}: ", sample.spec.id),
                    value: first.value,
                    unit: first.unit.clone(),
                    probability: first.expanded.probability,
                    now: first.expanded.expanded_uncertainty,
                    then: with_one_more_run(assay, sample)?,
                })
            })
            .collect(),
    }
}

fn looks_wrong(outcome: &Outcome) -> bool {
    let mut findings = outcome.findings().iter();
    findings.any(|finding| LOOKS_WRONG.contains(&finding.code))
}

/// True if the rules are kept, no reading looks wrong, and one more run would bring next to nothing.
pub(crate) fn may_stop(outcome: &Outcome) -> bool {
    let gains = match outcome {
        Outcome::Standardization { .. } => gains(outcome),
        // Which samples are still to come is not seen here.
        Outcome::Assay { .. } => Vec::new(),
    };
    outcome.evaluated().usable
        && !looks_wrong(outcome)
        && !gains.is_empty()
        && gains.iter().all(|gain| gain.then >= WORTH * gain.now)
}

/// What one more run would bring each result, and whether that is worth it.
pub(crate) fn one_more(outcome: &Outcome) -> Markup {
    let wrong = looks_wrong(outcome);
    html! {
        @for gain in gains(outcome) {
            @let text = |u: f64| rounded(gain.value, u).1;
            p {
                (gain.name)
                (filled("result.one_more", &[("from", &text(gain.now)), ("to", &text(gain.then)), ("unit", &gain.unit)]))
                @if let Some(p) = gain.probability { " " (filled("result.at", &[("p", &format!("{:.0}", 100.0 * p))])) }
                ". "
                span.strong {
                    @if wrong { (t("result.first_mend")) } @else if gain.then < WORTH * gain.now { (t("result.worth")) } @else { (t("result.stop")) }
                }
            }
        }
    }
}
