//! Words in a drawing: folding to a width in px, and lines of text one under another.

use super::svg::{Svg, Type};
use crate::lines::fold;

/// Mean width of a character over the height of the type, a little on the wide side (sans serif faces).
const WIDTH: f64 = 0.54;

/// About how wide a text is, px.
pub fn width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * size * WIDTH
}

/// Writes a text folded to a width in px, from a point downwards; returns where the next line would stand.
pub fn paragraph(
    svg: &mut Svg,
    (x, y): (f64, f64),
    set: Type<'_>,
    columns: f64,
    text: &str,
) -> f64 {
    let characters = (columns / (set.size * WIDTH)).max(1.0) as usize;
    let mut down = y;
    for line in fold(text, characters) {
        svg.text((x, down), set, &line);
        down += 1.3 * set.size;
    }
    down
}
