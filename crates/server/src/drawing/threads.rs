//! Traceability as a picture: what a thing is made of to the left, what rests on it to the right. Every box leads to the
//! picture of its thing, so that threads can be followed on and back, both ways.

use crate::page::frame::escaped;
use crate::text::filled;
use crate::words;
use notebook::Node;
use std::collections::BTreeMap;
use std::fmt::Write;
use store::Trace;

const COLUMN: f64 = 220.0;
const BOX: f64 = 170.0;
const ROW: f64 = 76.0;
const HIGH: f64 = 58.0;
/// Longest line in a box.
const LINE: usize = 25;
/// Most columns on each side and boxes in one column: the picture stays a picture.
const MOST_COLUMNS: i32 = 4;
const MOST_ROWS: usize = 16;
/// Statuses of what does not hold or is not used any more.
const ENDED: [&str; 6] = [
    "superseded",
    "withdrawn",
    "gone",
    "out of service",
    "given up",
    "left",
];

/// What stands in the boxes beside the names: titles and statuses.
pub(crate) type Said = BTreeMap<Node, (String, String)>;

/// The things that the picture shows.
pub(crate) fn nodes(of: &Node, made_of: &Trace, rests_on: &Trace) -> Vec<Node> {
    placed(of, made_of, rests_on).into_keys().collect()
}

/// The column of each thing, with what it is made of to the left.
fn placed(of: &Node, made_of: &Trace, rests_on: &Trace) -> BTreeMap<Node, i32> {
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
    columns
}

/// The picture.
pub(crate) fn threads(of: &Node, made_of: &Trace, rests_on: &Trace, said: &Said) -> String {
    let columns = placed(of, made_of, rests_on);
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
    // Where threads pass a column: between its boxes.
    let free = |column: i32, wanted: f64| {
        let n = by_column
            .get(&column)
            .map_or(0, |nodes| nodes.len().min(MOST_ROWS));
        let first = (height - n as f64 * ROW) / 2.0;
        let gap = ((wanted - first) / ROW).round().clamp(0.0, n as f64);
        first + gap * ROW
    };
    let middle_of = |column: i32| f64::from(column - least) * COLUMN + COLUMN / 2.0;
    for (_, edge) in made_of.threads.iter().chain(&rests_on.threads) {
        if let (Some(on), Some(what)) = (at.get(&edge.on), at.get(&edge.what))
            && let (Some(from), Some(to)) = (columns.get(&edge.on), columns.get(&edge.what))
        {
            let (end_x, end_y) = (what.0 - BOX / 2.0, what.1);
            let (mut x, mut y) = (on.0 + BOX / 2.0, on.1);
            let mut path = format!("M{x:.0} {y:.0}");
            let mut curve = |path: &mut String, to_x: f64, to_y: f64| {
                let middle = f64::midpoint(x, to_x);
                let _ = write!(
                    path,
                    " C {middle:.0} {y:.0} {middle:.0} {to_y:.0} {to_x:.0} {to_y:.0}"
                );
                (x, y) = (to_x + BOX, to_y);
            };
            for column in from + 1..*to {
                let share = f64::from(column - from) / f64::from(to - from);
                let lane = free(column, on.1 + share * (end_y - on.1));
                let left = middle_of(column) - BOX / 2.0;
                curve(&mut path, left, lane);
                let _ = write!(path, " H{:.0}", left + BOX);
            }
            curve(&mut path, end_x, end_y);
            let _ = write!(
                svg,
                "<path class=\"thread\" d=\"{path}\"><title>{} {} {}</title></path>",
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
                draw(&mut svg, node, *place, *node == of, said.get(node));
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

/// A box with its name, what it is, and how it stands where it stands no more.
fn draw(
    svg: &mut String,
    node: &Node,
    (x, y): (f64, f64),
    here: bool,
    said: Option<&(String, String)>,
) {
    let ended = said.is_some_and(|(_, status)| ENDED.contains(&status.as_str()));
    let class = match (here, ended) {
        (true, true) => "node here ended",
        (true, false) => "node here",
        (false, true) => "node ended",
        (false, false) => "node",
    };
    let mut foot = words::kind(node.kind()).to_string();
    if let Some((_, status)) = said.filter(|_| ended) {
        foot = format!("{foot}: {}", words::status(status));
    }
    let title = said.map(|(title, _)| title.as_str()).unwrap_or_default();
    let current = if here { " aria-current=\"true\"" } else { "" };
    let _ = write!(
        svg,
        "<a href=\"/things/{}/{}\" aria-label=\"{foot} {}, {}\"{current}><rect class=\"{class}\" x=\"{:.0}\" y=\"{:.0}\" width=\"{BOX}\" height=\"{HIGH}\" rx=\"6\"/>",
        node.kind(),
        escaped(node.name()),
        super::escaped(node.name()),
        super::escaped(title),
        x - BOX / 2.0,
        y - HIGH / 2.0,
    );
    for (text, size, class, base) in [
        (node.name(), 14, "", -12.0),
        (title, 11, "", 5.0),
        (&foot, 11, if ended { "accent" } else { "quiet" }, 21.0),
    ] {
        let _ = write!(
            svg,
            "<text class=\"{class}\" x=\"{x:.0}\" y=\"{:.0}\" text-anchor=\"middle\" font-size=\"{size}\">{}</text>",
            y + base,
            super::escaped(&cut(text))
        );
    }
    svg.push_str("</a>");
}

/// A line that fits into a box.
fn cut(text: &str) -> String {
    let mut line: String = text.chars().take(LINE).collect();
    if text.chars().count() > LINE {
        line.pop();
        line.push('…');
    }
    line
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
