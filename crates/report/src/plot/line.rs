//! A curve through points, cut at the edges of its frame.

use super::frame::Frame;
use super::svg::{Look, Svg};

/// Draws a curve through points; what lies outside the frame is cut off at its edge.
pub fn line(svg: &mut Svg, frame: &Frame, points: &[(f64, f64)], look: &Look) {
    let mut part: Vec<(f64, f64)> = Vec::new();
    let mut parts: Vec<Vec<(f64, f64)>> = Vec::new();
    for pair in points.windows(2) {
        match inside(frame, pair[0], pair[1]) {
            Some((from, to)) => {
                if part.last() != Some(&from) {
                    parts.push(std::mem::take(&mut part));
                    part.push(from);
                }
                part.push(to);
            }
            None => parts.push(std::mem::take(&mut part)),
        }
    }
    parts.push(part);
    for part in parts.iter().filter(|part| part.len() > 1) {
        let at: Vec<(f64, f64)> = part.iter().map(|point| frame.at(*point)).collect();
        svg.polyline(&at, look);
    }
}

/// The part of a straight line that lies within the frame (Liang and Barsky, 1984).
fn inside(frame: &Frame, from: (f64, f64), to: (f64, f64)) -> Option<((f64, f64), (f64, f64))> {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let (mut enters, mut leaves) = (0.0_f64, 1.0_f64);
    for (towards, room) in [
        (-dx, from.0 - frame.x.from()),
        (dx, frame.x.to() - from.0),
        (-dy, from.1 - frame.y.from()),
        (dy, frame.y.to() - from.1),
    ] {
        if towards == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if towards < 0.0 {
            enters = enters.max(room / towards);
        } else {
            leaves = leaves.min(room / towards);
        }
    }
    let at = |t: f64| {
        if t <= 0.0 {
            from
        } else if t >= 1.0 {
            to
        } else {
            (from.0 + t * dx, from.1 + t * dy)
        }
    };
    (enters <= leaves).then(|| (at(enters), at(leaves)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::Scale;

    #[test]
    fn a_curve_ends_at_the_edge() {
        let frame = Frame {
            left: 0.0,
            top: 0.0,
            width: 10.0,
            height: 10.0,
            x: Scale::within(0.0, 10.0, 5),
            y: Scale::within(0.0, 10.0, 5),
        };
        let mut svg = Svg::new(10.0, 10.0, "", "");
        let points = [
            (-5.0, 5.0),
            (5.0, 5.0),
            (5.0, 20.0),
            (20.0, 20.0),
            (20.0, 5.0),
            (8.0, 5.0),
        ];
        line(&mut svg, &frame, &points, &Look::drawn("#000000", 1.0));
        let text = svg.finish("#ffffff");
        assert!(
            text.contains("points=\"0.00,5.00 5.00,5.00 5.00,0.00\""),
            "{text}"
        );
        assert!(text.contains("points=\"10.00,5.00 8.00,5.00\""), "{text}");
        assert_eq!(text.matches("<polyline").count(), 2);
    }
}
