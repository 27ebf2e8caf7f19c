//! The points of a predicted curve for a spreadsheet or a script.

use std::fmt::Write;
use titrimetry::plan::drawing::Drawing;

/// The points as CSV with a heading: volume in mL, level with its unit in the heading.
pub fn curve_csv(drawing: &Drawing) -> String {
    let unit = if drawing.unit.is_empty() {
        String::new()
    } else {
        format!("_{}", drawing.unit)
    };
    let mut text = format!("volume_mL,{}{unit}\n", drawing.quantity);
    for (volume, level) in &drawing.points {
        let _ = writeln!(text, "{volume:.6},{level:.6}");
    }
    text
}
