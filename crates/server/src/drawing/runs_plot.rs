//! The runs in their order, with the scatter that is expected of them.

use crate::text::t;
use std::fmt::Write;
use titrimetry::Evaluation;
use titrimetry::evaluation::RunStatus;

const LEFT: f64 = 90.0;
const WIDTH: f64 = 520.0;
const TOP: f64 = 16.0;
const HEIGHT: f64 = 190.0;

/// Concentration of each run against its place; the band is two standard deviations of one run about the mean.
pub(crate) fn runs(evaluation: &Evaluation) -> String {
    let points: Vec<(&str, f64, bool)> = evaluation
        .runs
        .iter()
        .filter_map(|run| {
            let shown = matches!(run.status, RunStatus::Counts | RunStatus::SetAside(_));
            Some((run.name.as_str(), run.concentration?, run.counts())).filter(|_| shown)
        })
        .collect();
    let mean = evaluation.concentration();
    let band = 2.0 * evaluation.scatter.used * mean;
    // A run that was set aside may lie far off: it is shown at the edge, with its value.
    let reach = points
        .iter()
        .filter(|(_, _, counts)| *counts)
        .map(|(_, c, _)| (c - mean).abs())
        .fold(1.3 * band, f64::max)
        .max(1e-12);
    let y = |c: f64| {
        let share = ((c - mean) / reach).clamp(-1.0, 1.0);
        TOP + HEIGHT / 2.0 - share * (HEIGHT / 2.0 - 12.0)
    };
    let x = |i: usize| LEFT + WIDTH * (i as f64 + 0.5) / points.len().max(1) as f64;
    let mut svg = format!(
        "<svg viewBox=\"0 0 640 270\" width=\"640\" role=\"img\" aria-label=\"{}\"><rect class=\"drops\" x=\"{LEFT}\" y=\"{:.1}\" width=\"{WIDTH}\" height=\"{:.1}\"/><line class=\"middle\" x1=\"{LEFT}\" x2=\"{}\" y1=\"{:.1}\" y2=\"{:.1}\"/>",
        t("plot.words"),
        y(mean + band),
        (y(mean - band) - y(mean + band)).max(0.0),
        LEFT + WIDTH,
        y(mean),
        y(mean)
    );
    for (value, word) in [
        (mean, t("plot.mean")),
        (mean + band, "+2 s"),
        (mean - band, "−2 s"),
    ] {
        let _ = write!(
            svg,
            "<text class=\"quiet\" x=\"{}\" y=\"{:.1}\" font-size=\"13\" text-anchor=\"end\">{word}</text>",
            LEFT + WIDTH - 4.0,
            y(value) - 5.0
        );
        let _ = write!(
            svg,
            "<text x=\"{}\" y=\"{:.1}\" font-size=\"13\" text-anchor=\"end\">{value:.5}</text>",
            LEFT - 10.0,
            y(value) + 4.0
        );
    }
    let _ = write!(
        svg,
        "<text class=\"quiet\" x=\"{}\" y=\"{:.1}\" font-size=\"13\" text-anchor=\"end\">mol/L</text>",
        LEFT - 10.0,
        TOP + HEIGHT + 8.0
    );
    if points.iter().any(|(_, _, counts)| !counts) {
        let _ = write!(
            svg,
            "<circle class=\"dot aside\" cx=\"{}\" cy=\"{:.1}\" r=\"5.5\"/><text class=\"quiet\" x=\"{}\" y=\"{:.1}\" font-size=\"13\">{}</text>",
            LEFT + 8.0,
            TOP + HEIGHT + 44.0,
            LEFT + 20.0,
            TOP + HEIGHT + 48.5,
            t("plot.aside")
        );
    }
    for (i, (name, c, counts)) in points.iter().enumerate() {
        let class = if *counts { "dot" } else { "dot aside" };
        let _ = write!(
            svg,
            "<circle class=\"{class}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"5.5\"/><text class=\"quiet\" x=\"{:.1}\" y=\"{}\" text-anchor=\"middle\" font-size=\"14\">{}</text>",
            x(i),
            y(*c),
            x(i),
            TOP + HEIGHT + 26.0,
            super::escaped(name)
        );
        if (c - mean).abs() > reach {
            let arrow = if *c > mean { '↑' } else { '↓' };
            let _ = write!(
                svg,
                "<text class=\"quiet\" x=\"{:.1}\" y=\"{:.1}\" font-size=\"13\">{arrow} {c:.5}</text>",
                x(i) + 10.0,
                y(*c) + 5.0
            );
        }
    }
    svg.push_str("</svg>");
    svg
}
