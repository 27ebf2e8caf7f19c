//! Findings on assays: what a trained eye sees in samples, blanks and check samples.
//!
//! Each titration of a sample is looked at as any set of runs (`crate::findings`); to that come the findings that only an
//! assay can have: an excess that was left over or used up, a content for which the portion is wrong, more or less found
//! than can be, check samples that are off or drift, duplicates that differ. The direction and the size of every effect
//! are read off the formula of the result.

mod addition;
mod blanks;
mod check;
mod content;
mod drift;
mod limits;
#[cfg(test)]
mod made;
mod more_runs;
mod portion;
mod reagent;
mod repeats;
#[cfg(test)]
mod simulation;
mod slip;
#[cfg(test)]
mod tests;
mod titrations;

pub use more_runs::with_one_more_run;
pub use repeats::{Agreement, agreement};

use super::agreement::volume_symbol;
use super::evaluate::effect_of;
use super::outcome::{Assay, Reported, SampleOutcome, TitrationOutcome};
use crate::evaluation::RunStatus;
use crate::finding::{Finding, Severity};
use crate::findings::readings;
use crate::findings::words::list;
use crate::rule_profile::RuleProfile;

/// Judges an assay by a rule profile; the weightiest findings come first, each with the samples it is about.
pub fn judge(assay: &Assay, profile: &RuleProfile) -> Vec<Finding> {
    let mut findings: Vec<Finding> = Vec::new();
    for sample in &assay.samples {
        let one = One {
            assay,
            sample,
            profile,
        };
        let mut own: Vec<Finding> = check::off(&one).into_iter().collect();
        own.extend(limits::not_kept(&one));
        own.extend(content::impossible(&one));
        own.extend(addition::judged(&one));
        own.extend(reagent::excess(&one));
        own.extend(content::outside_range(&one));
        own.extend(repeats::duplicates(&one));
        own.extend(titrations::seen(&one));
        for finding in own {
            add(&mut findings, finding.of([sample.spec.id.clone()]));
        }
    }
    findings.extend(drift::checks(assay));
    findings.extend(drift::titrant(assay));
    findings.extend(drift::too_few_checks(assay));
    findings.extend(repeats::same_sample(assay));
    findings.extend(blanks::suspicious(assay));
    let specs = assay.samples.iter().flat_map(|s| &s.spec.run);
    findings.extend(readings::preferred(specs, assay.burette.graduation));
    if assay.samples.len() > 1 {
        for finding in &mut findings {
            finding.message = with_samples(&finding.samples, &finding.message);
        }
        findings = notes_once(findings);
    }
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    findings
}

/// A sample under judgement.
struct One<'a> {
    assay: &'a Assay,
    sample: &'a SampleOutcome,
    profile: &'a RuleProfile,
}

impl<'a> One<'a> {
    /// The runs of a titration that count: index and titre to the last end point, in mL.
    fn counting(&self, titration: &TitrationOutcome) -> Vec<(usize, f64)> {
        let runs = self.sample.runs.iter().enumerate();
        runs.filter(|(_, run)| run.titration == titration.name && run.status == RunStatus::Counts)
            .filter_map(|(index, run)| Some((index, *run.titres.last()?)))
            .collect()
    }

    fn mean_titre(&self, titration: &TitrationOutcome) -> Option<f64> {
        let titres = self.counting(titration);
        (!titres.is_empty())
            .then(|| titres.iter().map(|(_, titre)| titre).sum::<f64>() / titres.len() as f64)
    }

    /// The first result that a titration has a say in, and its relative change per mL in every titre of it.
    fn effect(&self, titration: &TitrationOutcome) -> Option<(&'a Reported, f64)> {
        self.sample
            .results
            .iter()
            .map(|reported| (reported, self.effect_on(titration, reported)))
            .find(|(_, effect)| *effect != 0.0 && effect.is_finite())
    }

    /// Relative change of a result per mL in the titre of each run alone.
    fn effects_of_runs(&self, reported: &Reported) -> Vec<f64> {
        let formula = &reported.formula;
        let values = formula.evaluate(formula.input_values());
        let slopes = formula.node_derivatives(formula.result_index(), &values);
        let value = values[formula.result_index()];
        let effect = |name: &str| {
            formula
                .node_index(&volume_symbol(name))
                .map_or(0.0, |node| slopes[node] / value)
        };
        self.sample
            .runs
            .iter()
            .map(|run| effect(&run.name))
            .collect()
    }

    fn effect_on(&self, titration: &TitrationOutcome, reported: &Reported) -> f64 {
        let formula = &reported.formula;
        let counting = self.counting(titration).into_iter();
        let titres: Vec<usize> = counting
            .filter_map(|(index, _)| {
                formula.node_index(&volume_symbol(&self.sample.runs[index].name))
            })
            .collect();
        effect_of(formula, &titres)
    }
}

/// A number on the sheet or in the method, in the unit of a result; none if it is another quantity.
fn in_unit_of(reported: &Reported, written: &metrology::WrittenQuantity) -> Option<f64> {
    reported.number_of(written)
}

/// A value with its unit, to as many digits as its uncertainty is worth.
fn said(reported: &Reported, value: f64) -> String {
    let unit = &reported.unit;
    let digits = if reported.standard_uncertainty > 0.0 && value != 0.0 {
        let places = (value.abs() / reported.standard_uncertainty).log10().ceil();
        (places + 1.0).clamp(2.0, 6.0) as u32
    } else {
        4
    };
    let sign = if value < 0.0 { "\u{2212}" } else { "" };
    format!(
        "{sign}{} {unit}",
        crate::findings::words::digits(value.abs(), digits)
    )
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// Adds a finding; one that was made word for word of another sample is about both.
fn add(findings: &mut Vec<Finding>, finding: Finding) {
    let same = findings.iter_mut().find(|f| {
        f.code == finding.code && f.message == finding.message && f.next_step == finding.next_step
    });
    match same {
        Some(known) => {
            for sample in finding.samples {
                if !known.samples.contains(&sample) {
                    known.samples.push(sample);
                }
            }
            for run in finding.runs {
                if !known.runs.contains(&run) {
                    known.runs.push(run);
                }
            }
        }
        None => findings.push(finding),
    }
}

/// The message with the samples it is about, where it does not name them: runs are named by their samples.
fn with_samples(samples: &[String], message: &str) -> String {
    if samples
        .iter()
        .all(|sample| message.contains(sample.as_str()))
    {
        return message.to_string();
    }
    let names: Vec<&str> = samples.iter().map(String::as_str).collect();
    match names.as_slice() {
        [one] => format!("Sample {one}: {message}"),
        many => format!("Samples {}: {message}", list(many)),
    }
}

/// A note that many samples share, each with its own numbers, is said of the first and then only their names.
fn notes_once(findings: Vec<Finding>) -> Vec<Finding> {
    let mut kept: Vec<(Finding, Vec<String>)> = Vec::new();
    for finding in findings {
        let same = kept.iter_mut().find(|(first, _)| {
            finding.severity == Severity::Note
                && !finding.samples.is_empty()
                && first.severity == Severity::Note
                && first.code == finding.code
                && first.next_step == finding.next_step
        });
        match same {
            // A sample that is titrated twice is named once.
            Some((_, others)) => {
                for sample in finding.samples {
                    if !others.contains(&sample) {
                        others.push(sample);
                    }
                }
            }
            None => kept.push((finding, Vec::new())),
        }
    }
    kept.into_iter()
        .map(|(mut finding, mut others)| {
            others.retain(|sample| !finding.samples.contains(sample));
            if !others.is_empty() {
                let names: Vec<&str> = others.iter().map(String::as_str).collect();
                finding.message +=
                    &format!(" The same, with other numbers, holds for {}.", list(&names));
                finding.samples.extend(others);
            }
            finding
        })
        .collect()
}
