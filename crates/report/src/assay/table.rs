//! Several samples as a table, one line each.

use crate::lines::{clean, cut, hanging, left, right, width};
use crate::numbers::{by_uncertainty, decimals, percent};
use crate::style::Style;
use metrology::rounding::Rounded;
use titrimetry::assay::{DecisionRule, SampleKind, SampleOutcome};
use titrimetry::evaluation::RunStatus;

/// Widest sample id.
const ID: usize = 24;

pub(super) fn samples(samples: &[SampleOutcome], style: Style) -> Vec<String> {
    let mut lines = vec![String::new(), style.strong("Samples")];
    let ids: Vec<String> = samples
        .iter()
        .map(|s| cut(&clean(&s.spec.id), ID))
        .collect();
    let columns = ids.iter().map(|id| width(id)).max().unwrap_or(0);
    let results = samples.first().map_or(0, |s| s.results.len());
    for result in 0..results {
        if result > 0 {
            lines.push(String::new());
        }
        let plan = &samples[0].results[result];
        lines.push(style.quiet(format!("  {} / {}", plan.name, plan.unit)));
        let rounded: Vec<_> = samples
            .iter()
            .map(|s| &s.results[result])
            .map(|r| by_uncertainty(r.value, r.expanded.expanded_uncertainty))
            .collect();
        let widest = |text: fn(&Rounded) -> &str| rounded.iter().map(|r| width(text(r))).max();
        let values = widest(|r| &r.value_text).unwrap_or(0);
        let uncertainties = widest(|r| &r.uncertainty_text).unwrap_or(0);
        for ((sample, id), rounded) in samples.iter().zip(&ids).zip(&rounded) {
            let n = sample
                .runs
                .iter()
                .filter(|r| r.status == RunStatus::Counts)
                .count();
            let head = format!(
                "    {}  {} \u{b1} {}  n = {n}",
                left(id, columns),
                right(&rounded.value_text, values),
                left(&rounded.uncertainty_text, uncertainties),
            );
            let notes = notes(sample, result == 0);
            if notes.is_empty() {
                lines.push(head);
            } else {
                lines.extend(hanging(&format!("{head}  "), &notes.join("; ")));
            }
        }
    }
    if let Some(p) = samples
        .first()
        .and_then(|s| s.results.first())
        .and_then(|r| r.expanded.probability)
    {
        lines.push(style.quiet(format!(
            "  \u{b1}: the true value lies within it {}.",
            crate::numbers::times_in_100(p)
        )));
    }
    lines
}

/// What is to be said of a sample beside its result; all of it beside its first.
fn notes(sample: &SampleOutcome, first: bool) -> Vec<String> {
    let mut notes = Vec::new();
    if sample.spec.kind == SampleKind::Check {
        notes.push("check sample".to_string());
    }
    let below = sample.below_zero.iter();
    notes.extend(below.map(|b| format!("does not hold: {} below none", b.name)));
    if first {
        notes.extend(sample.addition.as_ref().map(|addition| {
            let recovery = &addition.recovery;
            let rounded = by_uncertainty(recovery.value, recovery.expanded.expanded_uncertainty);
            format!(
                "recovery {} \u{b1} {} %",
                rounded.value_text, rounded.uncertainty_text
            )
        }));
        notes.extend(sample.zeta.map(|z| format!("zeta {}", decimals(z, 1))));
        notes.extend(sample.conformity.as_ref().map(|c| {
            let wanted = match c.rule {
                DecisionRule::Probability(wanted) => wanted,
                DecisionRule::GuardBand | DecisionRule::GuardFactor(_) => 0.95,
            };
            let verdict = if c.accepted {
                "keeps"
            } else if c.probability <= 1.0 - wanted {
                "does not keep"
            } else {
                "does not surely keep"
            };
            format!("{verdict} {} (p {})", c.limits, chance(c.probability))
        }));
    }
    notes
}

/// A probability of conformity; near either end no digits are claimed that the model cannot bear.
pub(super) fn chance(probability: f64) -> String {
    if probability > 0.999 {
        "over 99.9 %".into()
    } else if probability < 0.001 {
        "under 0.1 %".into()
    } else {
        format!("= {}", percent(probability))
    }
}
