//! Pictures: the burette with its zones, bars, runs, threads. All are SVG in the roles of the style sheet.

pub(crate) mod bars;
pub(crate) mod burette;
pub(crate) mod runs_plot;
pub(crate) mod threads;

/// Text inside SVG.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
