//! Each titration of a sample as a set of runs: rules, slips, odd runs, drift, scatter, use of the burette, record.

use super::{One, content, portion};
use crate::evaluation::Run;
use crate::finding::Finding;
use crate::findings::case::{Case, Facts};
use crate::findings::runs;
use crate::method::Step;
use volumetry::reading::good_titres_ml;

/// Titre to aim at, as a share of the burette: the middle of its good part.
const AIM: f64 = 0.6;

/// What is seen in the runs of each titration.
pub(super) fn seen(one: &One<'_>) -> Vec<Finding> {
    let sample = one.sample;
    let all: Vec<Run> = sample
        .runs
        .iter()
        .zip(&sample.spec.run)
        .enumerate()
        .map(|(index, (run, spec))| {
            let titre = run.titres.last().copied().unwrap_or(f64::NAN);
            Run {
                index,
                name: run.name.clone(),
                key: String::new(),
                kind: spec.kind,
                status: run.status.clone(),
                titre,
                titre_decimals: run.titre_decimals,
                volume: titre,
                // What one portion of a line says is no result by itself.
                concentration: run.value.filter(|_| sample.addition.is_none()),
                apparatus_uncertainty: None,
                expected_titre: run.expected_titre,
            }
        })
        .collect();
    let first = &sample.results[0];
    let mixed = |step: &Step| !matches!(step, Step::Weigh { .. });
    let steps = &one.assay.method.step;
    let weighed = matches!(steps.first(), Some(Step::Weigh { .. })) && !steps.iter().any(mixed);
    let effects = sample.addition.as_ref().map(|_| one.effects_of_runs(first));
    let mut findings: Vec<Finding> = Vec::new();
    for titration in &sample.titrations {
        let only: Vec<usize> = (0..all.len())
            .filter(|i| sample.runs[*i].titration == titration.name)
            .collect();
        let facts = Facts {
            specs: &sample.spec.run,
            runs: &all,
            only: Some(&only),
            burette: &one.assay.burette,
            scatter: &titration.scatter,
            effect_per_ml: one.effect(titration).map_or(0.0, |(_, effect)| effect),
            effect_of_runs: effects.as_deref(),
            analyst: one.assay.sheet.analyst.as_deref(),
            weighed,
            expanded: (
                first.expanded.expanded_uncertainty / first.value,
                first.expanded.coverage_factor,
            ),
            determination: None,
        };
        for mut finding in runs(&Case::judging(facts, one.profile)) {
            // What is left of an excess has its own findings; a small rest is no small titre.
            if finding.code == "small-titre" && facts.effect_per_ml < 0.0 {
                continue;
            }
            if ["small-titre", "titre-too-small", "titre-too-large"].contains(&finding.code)
                && let Some(titre) = one.mean_titre(titration)
                && let Some(next) = better(one, titration, titre)
            {
                finding.next_step = next;
            }
            if !findings.contains(&finding) {
                findings.push(finding);
            }
        }
    }
    findings
}

/// The portion that would make the titre a good one; a back titration has its own advice.
fn better(one: &One<'_>, titration: &crate::assay::TitrationOutcome, titre: f64) -> Option<String> {
    let (_, effect) = one.effect(titration)?;
    let capacity = one.assay.burette.capacity;
    let aim = AIM * capacity;
    if titre < aim && content::is_within_range(one) {
        return Some("Use a smaller burette: the method means titres of this size.".into());
    }
    (effect > 0.0 && good_titres_ml(capacity).contains(&aim))
        .then(|| portion::instead(one, aim / titre))
        .flatten()
}
