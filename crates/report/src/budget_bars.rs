//! The budget as bars: what share of the variance each group of inputs makes.

use crate::lines::{WIDTH, clean, cut, hanging, left, right, width};
use crate::numbers::{percent, whole_percentages};
use crate::style::Style;
use metrology::{Budget, Formula};

/// Length of the bar of a whole.
const BAR: usize = 50;
/// Longest heading of a group.
const HEADING: usize = WIDTH - BAR - 12;

/// Share of the variance of one group of inputs.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupShare {
    /// Heading, in the words of the trade.
    pub group: String,
    /// Share of the variance, 0 to 1; with declared correlations it can be negative.
    pub share: f64,
}

/// The shares added up by group, largest first; inputs without a group stand under their description.
pub fn shares_by_group(formula: &Formula, budget: &Budget) -> Vec<GroupShare> {
    let mut shares: Vec<GroupShare> = Vec::new();
    for line in &budget.lines {
        let input = &formula.inputs()[line.input];
        let group = [&input.group, &input.description, &input.symbol]
            .into_iter()
            .find(|text| !text.is_empty())
            .map_or(String::new(), |text| clean(text));
        match shares.iter_mut().find(|s| s.group == group) {
            Some(known) => known.share += line.share,
            None => shares.push(GroupShare {
                group,
                share: line.share,
            }),
        }
    }
    shares.sort_by(|a, b| b.share.total_cmp(&a.share));
    shares
}

/// The bars, their whole percentages adding up to 100; groups below half a per cent share the last line.
pub(crate) fn budget_bars(formula: &Formula, budget: &Budget, style: Style) -> Vec<String> {
    let shares = shares_by_group(formula, budget);
    let exact: Vec<f64> = shares.iter().map(|s| s.share).collect();
    let whole = whole_percentages(&exact);
    let heading = shares
        .iter()
        .map(|s| width(&s.group))
        .max()
        .unwrap_or(0)
        .clamp(12, HEADING);
    let mut lines = Vec::new();
    for (i, (share, points)) in shares.iter().zip(&whole).enumerate() {
        if *points == 0 {
            continue;
        }
        let bar = bar(share.share);
        lines.push(format!(
            "  {}  {} %  {}",
            left(&cut(&share.group, heading), heading),
            right(&points.to_string(), 3),
            if i == 0 {
                style.accent(bar)
            } else {
                style.quiet(bar)
            }
        ));
    }
    let small: Vec<&GroupShare> = shares
        .iter()
        .zip(&whole)
        .filter(|(_, points)| **points == 0)
        .map(|(share, _)| share)
        .collect();
    if !small.is_empty() {
        let sum: f64 = small.iter().map(|s| s.share).sum();
        let names: Vec<&str> = small.iter().map(|s| s.group.as_str()).collect();
        let text = format!("too small to show ({}): {}", percent(sum), names.join("; "));
        lines.extend(
            hanging("  ", &text)
                .into_iter()
                .map(|line| style.quiet(line)),
        );
    }
    lines
}

/// A bar in eighths of a character.
fn bar(share: f64) -> String {
    let eighths = (share.clamp(0.0, 1.0) * (BAR * 8) as f64).round() as usize;
    let mut bar = "█".repeat(eighths / 8);
    let rest = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"][eighths % 8];
    bar.push_str(rest);
    bar
}

#[cfg(test)]
mod tests {
    use super::bar;

    #[test]
    fn a_bar_is_to_scale() {
        assert_eq!(bar(1.0).chars().count(), 50);
        assert_eq!(bar(0.5).chars().count(), 25);
        assert_eq!(bar(0.0025), "▏");
        assert_eq!(bar(-0.1), "");
    }
}
