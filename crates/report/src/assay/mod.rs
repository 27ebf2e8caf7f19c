//! What people and programs read of an assay: the table of samples, one sample in full, the JSON document.

mod in_full;
mod method_page;
mod table;
pub mod wire;

pub use method_page::{family, method_page, step};

use crate::account::Simulated;
use crate::lines::{WIDTH, clean, cut, hanging};
use crate::numbers::{percent, significant};
use crate::style::Style;
use crate::terminal::{RATHER, simulated_interval};
use titrimetry::assay::Assay;
use titrimetry::{Finding, RuleProfile, Severity};

/// An assay with what was judged about it.
#[derive(Clone, Copy, Debug)]
pub struct AssayAccount<'a> {
    /// The evaluation.
    pub assay: &'a Assay,
    /// The rules it was judged by.
    pub profile: &'a RuleProfile,
    /// What was found.
    pub findings: &'a [Finding],
    /// The simulation of the first result of each sample, in the order of the samples; empty if none was run.
    pub simulated: &'a [Simulated],
}

impl AssayAccount<'_> {
    /// How many rules of the profile are broken.
    pub fn rules_broken(&self) -> usize {
        self.findings
            .iter()
            .filter(|f| f.severity == Severity::RuleBroken)
            .count()
    }
}

/// The report of an assay, within [`crate::WIDTH`] columns: one sample in full, several as a table.
pub fn terminal(account: &AssayAccount<'_>, style: Style) -> String {
    let assay = account.assay;
    let mut lines = heading(assay, style);
    match assay.samples.as_slice() {
        [sample] => {
            let simulated = account.simulated.first();
            lines.extend(in_full::sample(assay, sample, simulated, style));
        }
        samples => {
            lines.extend(table::samples(samples, style));
            // Samples with one verdict are told together.
            let mut told: Vec<(String, Vec<String>)> = Vec::new();
            for (sample, simulated) in samples.iter().zip(account.simulated) {
                let mut verdict = crate::terminal::verdict(simulated);
                if let Some(first) = sample.results.first()
                    && verdict.ends_with(RATHER)
                {
                    let interval = simulated_interval(simulated, &first.unit, first.factor);
                    verdict = format!("{verdict} {interval}.");
                }
                let id = clean(&sample.spec.id);
                match told.iter_mut().find(|(known, _)| *known == verdict) {
                    Some((_, ids)) => ids.push(id),
                    None => told.push((verdict, vec![id])),
                }
            }
            let told = told.iter().flat_map(|(verdict, ids)| {
                hanging("  \u{b7} ", &format!("{}: {verdict}", ids.join("; ")))
            });
            let trials = account.simulated.first().map_or(0, |s| s.simulation.trials);
            let trials = crate::numbers::thousands(trials, ' ');
            let title = format!("Simulation of the first results, {trials} trials each");
            section(&mut lines, &title, told.collect(), style);
        }
    }
    section(
        &mut lines,
        "The titrant standardized again",
        rechecks(assay),
        style,
    );
    let findings = crate::terminal::findings_of(account.findings, account.profile, style);
    section(&mut lines, "Findings", findings, style);
    let atomic = assay
        .atomic_weights
        .as_ref()
        .map(|set| format!("atomic weights: {set}"));
    let granted = assay
        .assumptions
        .iter()
        .cloned()
        .chain(atomic)
        .flat_map(|text| hanging("  \u{b7} ", &text));
    section(&mut lines, "Taken for granted", granted.collect(), style);
    let cautions = assay
        .method
        .caution
        .iter()
        .cloned()
        .chain(
            assay
                .method
                .disposal
                .iter()
                .map(|d| format!("Disposal: {d}")),
        )
        .flat_map(|text| hanging("  \u{b7} ", &text));
    section(
        &mut lines,
        "Cautions of the method",
        cautions.collect(),
        style,
    );
    joined(&lines)
}

/// The worked solution of every sample.
pub fn working(account: &AssayAccount<'_>, style: Style) -> String {
    let assay = account.assay;
    let mut lines = Vec::new();
    for sample in &assay.samples {
        for result in &sample.results {
            let title = format!(
                "Working: {}, sample {}, {}",
                clean(&assay.sheet.title),
                clean(&sample.spec.id),
                result.name
            );
            lines.push(style.strong(cut(&title, WIDTH)));
            lines.extend(
                assay
                    .method
                    .reaction
                    .iter()
                    .map(|r| style.quiet(cut(&clean(r), WIDTH))),
            );
            lines.push(String::new());
            lines.extend(crate::working::body(&result.formula, &result.budget, style));
            lines.push(String::new());
            lines.extend(hanging("  ", &in_full::sentence(result)));
            lines.push(String::new());
        }
    }
    joined(&lines)
}

fn heading(assay: &Assay, style: Style) -> Vec<String> {
    let sheet = &assay.sheet;
    let mut lines = vec![style.strong(cut(&clean(&sheet.title), WIDTH))];
    let by: Vec<String> = [&sheet.date, &sheet.analyst]
        .into_iter()
        .flatten()
        .map(|text| clean(text))
        .collect();
    if !by.is_empty() {
        lines.push(style.quiet(cut(&by.join(", "), WIDTH)));
    }
    lines.push(String::new());
    let mut row = |what: &str, text: String| {
        let head = format!("{what:<10}  ");
        lines.extend(hanging(&head, &text));
    };
    let method = &assay.method;
    row(
        "method",
        format!(
            "{} ({}, version {})",
            method.title, method.name, method.version
        ),
    );
    row(
        "titrant",
        format!(
            "{}{}",
            sheet
                .titrant
                .substance
                .as_ref()
                .unwrap_or(&method.titrant.substance),
            known(&sheet.titrant)
        ),
    );
    for plan in &method.reagent {
        let stated = sheet.reagent.get(&plan.name).map(known).unwrap_or_default();
        let how = if plan.measured_by.is_some() {
            stated
        } else {
            ", its amount fixed by the blank".into()
        };
        row(
            "reagent",
            format!("{} ({}){how}", plan.name, plan.substance),
        );
    }
    if let Some(plan) = method.spike() {
        let stated = sheet.reagent.get(&plan.name).map(known).unwrap_or_default();
        row(
            "added",
            format!("{} ({}){stated}", plan.name, plan.substance),
        );
    }
    row("reactions", method.reaction.join("; "));
    row("apparatus", assay.burette.name.clone());
    row("end point", method.end_point.clone());
    lines
}

fn known(solution: &titrimetry::assay::Solution) -> String {
    let mut text = String::new();
    if let Some(bottle) = &solution.bottle {
        text.push_str(&format!(", bottle {bottle}"));
    }
    if let Some(stated) = &solution.concentration {
        text.push_str(&format!(", {}", stated.value));
        if let Some(certificate) = &stated.certificate {
            text.push_str(&format!(" by {certificate}"));
        }
    }
    if let Some(sheet) = &solution.sheet {
        text.push_str(&format!(", standardized by {sheet}"));
    }
    text
}

fn rechecks(assay: &Assay) -> Vec<String> {
    let told = assay.rechecks.iter().flat_map(|recheck| {
        let text = format!(
            "after {}: {} mol/L, {} {} than counted with (U of the difference: {})",
            clean(&recheck.after),
            significant(recheck.concentration, 5),
            percent(recheck.change.abs()),
            if recheck.change < 0.0 { "less" } else { "more" },
            percent(recheck.expanded)
        );
        hanging("  \u{b7} ", &text)
    });
    told.collect()
}

fn section(lines: &mut Vec<String>, title: &str, body: Vec<String>, style: Style) {
    if !body.is_empty() {
        lines.push(String::new());
        lines.push(style.strong(title));
        lines.extend(body);
    }
}

fn joined(lines: &[String]) -> String {
    let mut text = String::new();
    for line in lines {
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}
