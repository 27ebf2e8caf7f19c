//! Traceability as a picture: what a thing is made of to the left, what rests on it to the right. Every box leads to the
//! picture of its thing, so that threads can be followed on and back, both ways.

use crate::page::frame::escaped;
use crate::text::filled;
use crate::words;
use notebook::Node;
use std::collections::BTreeMap;
use std::fmt::Write;
use store::Trace;

const COLUMN: f64 = 200.0;
const BOX: f64 = 150.0;
const ROW: f64 = 54.0;
const HIGH: f64 = 46.0;
/// Longest name in a box.
const NAME: usize = 19;
/// Most columns on each side and boxes in one column: the picture stays a picture.
const MOST_COLUMNS: i32 = 4;
const MOST_ROWS: usize = 16;

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
    spread(&mut columns, made_of, rests_on);
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
        rows as f64 * ROW + 44.0,
    );
    let mut at: BTreeMap<&Node, (f64, f64)> = BTreeMap::new();
    for (column, nodes) in &by_column {
        let shown = nodes.len().min(MOST_ROWS);
        for (row, node) in nodes.iter().take(MOST_ROWS).enumerate() {
            let y = (height - shown as f64 * ROW) / 2.0 + row as f64 * ROW + ROW / 2.0;
            at.insert(node, (f64::from(column - least) * COLUMN + COLUMN / 2.0, y));
        }
    }
    let words = filled("threads.words", &[("name", of.name())]);
    let mut svg = format!(
        "<svg viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" role=\"group\" aria-label=\"{}\">",
        super::escaped(&words)
    );
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
                words::how(edge.how),
                super::escaped(edge.on.name())
            );
        }
    }
    // In the order of reading: from what it is made of to what rests on it.
    for (column, nodes) in &by_column {
        for node in nodes.iter().take(MOST_ROWS) {
            if let Some(place) = at.get(node) {
                draw(&mut svg, node, *place, *node == of);
            }
        }
        let hidden = nodes.len().saturating_sub(MOST_ROWS);
        if hidden > 0 {
            let x = f64::from(column - least) * COLUMN + COLUMN / 2.0;
            let more = filled("threads.more", &[("n", &hidden.to_string())]);
            let _ = write!(
                svg,
                "<text class=\"quiet\" x=\"{x:.0}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"12\">{}</text>",
                height - 8.0,
                super::escaped(&more)
            );
        }
    }
    svg.push_str("</svg>");
    svg
}

/// A box with its name and kind.
fn draw(svg: &mut String, node: &Node, (x, y): (f64, f64), here: bool) {
    let class = if here { "node here" } else { "node" };
    let mut name: String = node.name().chars().take(NAME).collect();
    if node.name().chars().count() > NAME {
        name.push('…');
    }
    let current = if here { " aria-current=\"true\"" } else { "" };
    let _ = write!(
        svg,
        "<a href=\"/things/{}/{}\" aria-label=\"{} {}\"{current}><rect class=\"{class}\" x=\"{:.0}\" y=\"{:.0}\" width=\"{BOX}\" height=\"{HIGH}\" rx=\"6\"/><text x=\"{x:.0}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"14\">{}</text><text class=\"quiet\" x=\"{x:.0}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"11\">{}</text></a>",
        node.kind(),
        escaped(node.name()),
        words::kind(node.kind()),
        super::escaped(node.name()),
        x - BOX / 2.0,
        y - HIGH / 2.0,
        y - 2.0,
        super::escaped(&name),
        y + 14.0,
        words::kind(node.kind())
    );
}

/// Moves things outwards until every thread leads from left to right: no thread then joins two boxes of one column.
fn spread(columns: &mut BTreeMap<Node, i32>, made_of: &Trace, rests_on: &Trace) {
    for _ in 0..MOST_COLUMNS {
        for (_, edge) in &made_of.threads {
            if let (Some(&on), Some(&what)) = (columns.get(&edge.on), columns.get(&edge.what))
                && on < 0
                && what <= 0
                && on >= what
            {
                columns.insert(edge.on.clone(), (what - 1).max(-MOST_COLUMNS));
            }
        }
        for (_, edge) in &rests_on.threads {
            if let (Some(&on), Some(&what)) = (columns.get(&edge.on), columns.get(&edge.what))
                && on >= 0
                && what > 0
                && what <= on
            {
                columns.insert(edge.what.clone(), (on + 1).min(MOST_COLUMNS));
            }
        }
    }
}
