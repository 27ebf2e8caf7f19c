//! Traceability as a picture: what a thing is made of to the left, what rests on it to the right. Every box is a link.

use crate::page::frame::path_of;
use notebook::Node;
use std::collections::BTreeMap;
use std::fmt::Write;
use store::Trace;

const COLUMN: f64 = 200.0;
const BOX: f64 = 150.0;
const ROW: f64 = 46.0;
/// Most columns on each side and boxes in one column: the picture stays a picture.
const MOST_COLUMNS: i32 = 4;
const MOST_ROWS: usize = 14;

/// The picture.
pub(crate) fn threads(of: &Node, made_of: &Trace, rests_on: &Trace) -> String {
    let mut columns: BTreeMap<Node, i32> = BTreeMap::from([(of.clone(), 0)]);
    for (trace, sign) in [(made_of, -1), (rests_on, 1)] {
        for (distance, edge) in &trace.threads {
            let distance = i32::try_from(*distance).unwrap_or(i32::MAX);
            let node = if sign < 0 { &edge.on } else { &edge.what };
            if distance <= MOST_COLUMNS {
                columns.entry(node.clone()).or_insert(sign * distance);
            }
        }
    }
    let least = columns.values().copied().min().unwrap_or(0);
    let most = columns.values().copied().max().unwrap_or(0);
    let mut by_column: BTreeMap<i32, Vec<&Node>> = BTreeMap::new();
    for (node, column) in &columns {
        by_column.entry(*column).or_default().push(node);
    }
    let rows = by_column
        .values()
        .map(|nodes| nodes.len().min(MOST_ROWS))
        .max()
        .unwrap_or(1);
    let (width, height) = (
        f64::from(most - least + 1) * COLUMN,
        rows as f64 * ROW + 30.0,
    );
    let mut at: BTreeMap<&Node, (f64, f64)> = BTreeMap::new();
    for (column, nodes) in &by_column {
        let shown = nodes.len().min(MOST_ROWS);
        for (row, node) in nodes.iter().take(MOST_ROWS).enumerate() {
            let y = (height - shown as f64 * ROW) / 2.0 + row as f64 * ROW + ROW / 2.0;
            at.insert(node, (f64::from(column - least) * COLUMN + COLUMN / 2.0, y));
        }
    }
    let mut svg =
        format!("<svg viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" role=\"group\">");
    for (_, edge) in made_of.threads.iter().chain(&rests_on.threads) {
        if let (Some(on), Some(what)) = (at.get(&edge.on), at.get(&edge.what)) {
            let (x1, x2) = (on.0 + BOX / 2.0, what.0 - BOX / 2.0);
            let middle = f64::midpoint(x1, x2);
            let _ = write!(
                svg,
                "<path class=\"thread\" d=\"M{x1:.0} {:.0} C {middle:.0} {:.0} {middle:.0} {:.0} {x2:.0} {:.0}\"><title>{} {} {}</title></path>",
                on.1,
                on.1,
                what.1,
                what.1,
                super::escaped(edge.what.name()),
                edge.how.word(),
                super::escaped(edge.on.name())
            );
        }
    }
    for (node, (x, y)) in &at {
        let class = if *node == of { "node here" } else { "node" };
        let _ = write!(
            svg,
            "<a href=\"{}\"><rect class=\"{class}\" x=\"{:.0}\" y=\"{:.0}\" width=\"{BOX}\" height=\"38\" rx=\"6\"/><text x=\"{x:.0}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"14\">{}</text><text class=\"quiet\" x=\"{x:.0}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"11\">{}</text></a>",
            super::escaped(&path_of(node)),
            x - BOX / 2.0,
            y - 19.0,
            y - 2.0,
            super::escaped(node.name()),
            y + 13.0,
            node.kind()
        );
    }
    svg.push_str("</svg>");
    svg
}
