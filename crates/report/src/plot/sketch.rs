//! A curve sketched in characters, eight dots a character (the braille patterns).

use super::curve::{end_words, equivalence_words, scales, zone_words};
use super::scale::Scale;
use crate::lines::{WIDTH, cut, hanging, left, right};
use crate::numbers::decimals;
use crate::style::Style;
use titrimetry::plan::drawing::Drawing;

const COLUMNS: usize = 72;
const ROWS: usize = 20;
/// Width of the labels on the left.
const LABEL: usize = 7;

/// The curve for a terminal, within [`crate::WIDTH`] columns.
pub fn curve_sketch(drawing: &Drawing, style: Style) -> String {
    let (x, y) = scales(drawing);
    let (dots_across, dots_down) = (COLUMNS * 2, ROWS * 4);
    let mut dots = vec![false; dots_across * dots_down];
    let at = |volume: f64, level: f64| {
        let column = (x.share(volume) * (dots_across as f64 - 1.0)).round();
        let row = ((1.0 - y.share(level)) * (dots_down as f64 - 1.0)).round();
        let inside =
            (0.0..dots_across as f64).contains(&column) && (0.0..dots_down as f64).contains(&row);
        inside.then_some((column as usize, row as usize))
    };
    for pair in drawing.points.windows(2) {
        let (Some(from), Some(to)) = (at(pair[0].0, pair[0].1), at(pair[1].0, pair[1].1)) else {
            continue;
        };
        for (column, row) in between(from, to) {
            dots[row * dots_across + column] = true;
        }
    }
    let mut cells: Vec<Vec<char>> = (0..ROWS)
        .map(|row| {
            (0..COLUMNS)
                .map(|column| braille(&dots, dots_across, column, row))
                .collect()
        })
        .collect();
    let mut accented: Vec<(usize, usize)> = Vec::new();
    let cell = |volume: f64, level: f64| at(volume, level).map(|(c, r)| (c / 2, r / 4));
    if let Some((column, row)) = cell(drawing.equivalence.0, drawing.equivalence.1) {
        cells[row][column] = 'o';
    }
    if let Some(end) = &drawing.end
        && let Some((column, row)) = cell(end.volume_ml, end.level)
    {
        cells[row][column] = '\u{2022}';
        accented.push((row, column));
    }
    let mut text = format!("{}\n", style.strong(cut(&drawing.title, WIDTH)));
    let name = if drawing.unit.is_empty() {
        drawing.quantity.clone()
    } else {
        format!("{}/{}", drawing.quantity, drawing.unit)
    };
    text.push_str(&format!("{}\n", style.quiet(right(&name, LABEL))));
    let mut labels = vec![String::new(); ROWS];
    for (value, label) in y.ticks() {
        if let Some((_, row)) = cell(x.from(), value) {
            labels[row] = label;
        }
    }
    let band = drawing.end.as_ref().and_then(|e| e.band);
    for (row, line) in cells.iter().enumerate() {
        // The band of the indicator stands at the axis.
        let level = y.to() - (row as f64 + 0.5) / ROWS as f64 * (y.to() - y.from());
        let half = 0.5 / ROWS as f64 * (y.to() - y.from());
        let in_band = band.is_some_and(|(low, high)| level + half >= low && level - half <= high);
        let axis = if in_band {
            style.accent('\u{2503}')
        } else {
            style.quiet('\u{2502}')
        };
        let shown: String = line
            .iter()
            .enumerate()
            .map(|(column, c)| {
                if accented.contains(&(row, column)) {
                    style.strong_accent(c)
                } else {
                    c.to_string()
                }
            })
            .collect();
        text.push_str(&format!(
            "{} {axis}{}\n",
            style.quiet(right(&labels[row], LABEL)),
            shown.trim_end()
        ));
    }
    text.push_str(&format!(
        "{} {}{}\n",
        " ".repeat(LABEL),
        style.quiet('\u{2514}'),
        zone_line(drawing, &x, style)
    ));
    let mut under = vec![' '; COLUMNS + 4];
    for (value, label) in x.ticks() {
        let column = (x.share(value) * (COLUMNS as f64 - 1.0)).round() as usize;
        let start = column.saturating_sub(label.chars().count() / 2);
        for (i, c) in label.chars().enumerate() {
            if let Some(place) = under.get_mut(start + i) {
                *place = c;
            }
        }
    }
    let under: String = under.into_iter().collect();
    text.push_str(&format!(
        "{}{}  {}\n",
        " ".repeat(LABEL + 2),
        style.quiet(left(under.trim_end(), COLUMNS)),
        style.quiet("titrant / mL")
    ));
    text.push_str(&legend(drawing, style));
    text
}

fn legend(drawing: &Drawing, style: Style) -> String {
    let mut lines = hanging("  o ", &equivalence_words(drawing));
    if let Some(end) = &drawing.end {
        let band = end.band.map_or_else(String::new, |(low, high)| {
            format!(
                "; the colour changes from {} to {}{} (\u{2503} at the axis)",
                decimals(low, 2),
                decimals(high, 2),
                if drawing.unit.is_empty() {
                    String::new()
                } else {
                    format!(" {}", drawing.unit)
                }
            )
        });
        let words = hanging("  \u{2022} ", &format!("{}{band}", end_words(drawing, end)));
        lines.extend(words.into_iter().enumerate().map(|(i, line)| match i {
            0 => line.replacen('\u{2022}', &style.strong_accent('\u{2022}'), 1),
            _ => line,
        }));
    }
    lines.extend(hanging(
        "    ",
        &format!(
            "{} (the axis is dotted for drops, heavy for half drops)",
            zone_words(drawing)
        ),
    ));
    for note in &drawing.notes {
        lines.extend(hanging("    ", note));
    }
    format!("\n{}\n", lines.join("\n"))
}

/// The axis, which shows the zones: dotted where to go by drops, heavy where by half drops.
fn zone_line(drawing: &Drawing, x: &Scale, style: Style) -> String {
    let zone = &drawing.zone;
    (0..COLUMNS)
        .map(|column| {
            let volume = x.from() + (x.to() - x.from()) * (column as f64 + 0.5) / COLUMNS as f64;
            if volume <= zone.freely_to_ml {
                style.quiet('\u{2500}')
            } else if volume <= zone.drops_to_ml {
                style.accent('\u{2504}')
            } else if volume <= zone.end_to_ml {
                style.accent('\u{2501}')
            } else {
                style.quiet('\u{2500}')
            }
        })
        .collect::<String>()
}

/// Dots on the way from one to another.
fn between(from: (usize, usize), to: (usize, usize)) -> Vec<(usize, usize)> {
    let (x0, y0, x1, y1) = (from.0 as f64, from.1 as f64, to.0 as f64, to.1 as f64);
    let steps = (x1 - x0).abs().max((y1 - y0).abs()).max(1.0) as usize;
    (0..=steps)
        .map(|i| {
            let t = i as f64 / steps as f64;
            (
                (x0 + t * (x1 - x0)).round() as usize,
                (y0 + t * (y1 - y0)).round() as usize,
            )
        })
        .collect()
}

/// The braille character of a cell of two by four dots; a blank if none is set.
fn braille(dots: &[bool], across: usize, column: usize, row: usize) -> char {
    // Bits of the pattern by column and row (Unicode, Braille Patterns).
    const BITS: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
    let mut pattern = 0;
    for (dx, bits) in BITS.iter().enumerate() {
        for (dy, bit) in bits.iter().enumerate() {
            if dots[(row * 4 + dy) * across + column * 2 + dx] {
                pattern |= bit;
            }
        }
    }
    if pattern == 0 {
        ' '
    } else {
        char::from_u32(0x2800 + pattern).unwrap_or(' ')
    }
}
