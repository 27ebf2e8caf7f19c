//! Several samples as a table, one line each.

use crate::lines::{clean, cut, left, right, width};
use crate::numbers::{by_uncertainty, decimals, percent};
use crate::style::Style;
use titrimetry::assay::{SampleKind, SampleOutcome};
use titrimetry::evaluation::RunStatus;

/// Widest sample id.
const ID: usize = 24;

pub(super) fn samples(samples: &[SampleOutcome], style: Style) -> Vec<String> {
    let mut lines = vec![String::new(), style.strong("Samples")];
    let ids: Vec<String> = samples
        .iter()
        .map(|s| cut(&clean(&s.spec.id), ID))
        .collect();
    let columns = ids.iter().map(|id| width(id)).max().unwrap_or(0).max(6);
    let results = samples.first().map_or(0, |s| s.results.len());
    for result in 0..results {
        if result > 0 {
            lines.push(String::new());
        }
        let plan = &samples[0].results[result];
        lines.push(style.quiet(format!(
            "  {}  {}  {}  {}  {}",
            left("sample", columns),
            right("n", 3),
            right(&format!("{} / {}", plan.name, plan.unit), 30),
            left("\u{b1} U", 10),
            "note"
        )));
        for (sample, id) in samples.iter().zip(&ids) {
            let reported = &sample.results[result];
            let rounded = by_uncertainty(reported.value, reported.expanded.expanded_uncertainty);
            let n = sample
                .runs
                .iter()
                .filter(|r| r.status == RunStatus::Counts)
                .count();
            let mut notes = Vec::new();
            if sample.spec.kind == SampleKind::Check {
                notes.push("check sample".to_string());
            }
            notes.extend(
                sample
                    .below_zero
                    .iter()
                    .map(|b| format!("does not hold: {} below none", b.name)),
            );
            if result == 0 {
                notes.extend(sample.zeta.map(|z| format!("zeta {}", decimals(z, 1))));
                notes.extend(sample.conformity.as_ref().map(|c| {
                    format!(
                        "{} {} (p = {})",
                        if c.accepted() {
                            "keeps"
                        } else {
                            "does not surely keep"
                        },
                        c.limits,
                        percent(c.probability)
                    )
                }));
            }
            let line = format!(
                "  {}  {}  {}  {}  {}",
                left(id, columns),
                right(&n.to_string(), 3),
                right(&rounded.value_text, 30),
                left(&rounded.uncertainty_text, 10),
                style.quiet(cut(&notes.join("; "), 44))
            );
            lines.push(line.trim_end().to_string());
        }
    }
    if let Some(p) = samples
        .first()
        .and_then(|s| s.results.first())
        .and_then(|r| r.expanded.probability)
    {
        lines.push(style.quiet(format!(
            "  U: the true value lies within it {}.",
            crate::numbers::times_in_100(p)
        )));
    }
    lines
}
