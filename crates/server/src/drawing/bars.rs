//! A share as a bar.

/// A bar for a share of 0 to 1; the largest wears the accent.
pub(crate) fn bar(share: f64, most: bool) -> String {
    let width = 100.0 * share.clamp(0.0, 1.0);
    let class = if most { "part most" } else { "part" };
    format!(
        "<svg viewBox=\"0 0 100 2\" preserveAspectRatio=\"none\" aria-hidden=\"true\"><rect class=\"track\" width=\"100\" height=\"2\"/><rect class=\"{class}\" width=\"{width:.1}\" height=\"2\"/></svg>"
    )
}
